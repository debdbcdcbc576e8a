"""What is said of single frames that are worth a look."""

from __future__ import annotations

SHORT = {
    "in_front_of_zone": "stood too near",
    "beyond_zone": "stood too far",
    "subject_motion": "moved",
    "diffraction": "softened by diffraction",
    "kept_though_blurred": "you kept it blurred",
    "not_kept_though_sharp": "sharp, yet left",
}
