"""``auditor zone``: one sharp zone from typed settings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from auditor.cli import options
from auditor.cli.shared import reads_lens

if TYPE_CHECKING:
    from auditor.optics.bench import Bench


@reads_lens("focus", "subject", ring=False)
def zone(
    bench: Bench,
    *,
    f_number: Annotated[str, typer.Option("--f-number", help="f-number, such as 8.", show_default=False)],
    focus: Annotated[
        str, typer.Option("--focus", help="Where the ring is set: 2.5m, 8ft or inf.", show_default=False)
    ],
    subject: Annotated[
        str | None, typer.Option("--subject", help="Where the subject stands; shows the blur there.")
    ] = None,
    shutter: Annotated[
        str | None, typer.Option("--shutter", help="Exposure time, such as 1/250; adds motion.")
    ] = None,
    speed: options.Speed = "walking",
    crossing: options.Crossing = None,
    turn: Annotated[
        float, typer.Option("--turn", min=0, help="How fast the camera turns, in degrees a second.")
    ] = 0.0,
    json: options.Json = False,
) -> None:
    """Show the sharp zone of one setting, and the blur where the subject stands."""
    import numpy as np

    from auditor.cli import typed
    from auditor.errors import SettingError
    from auditor.optics.blur import blur_parts, motion_mm
    from auditor.optics.combined import combined_zone
    from auditor.optics.lens import sharp_zone
    from auditor.optics.ring_check import true_focus_m
    from auditor.show.zone_text import SettingFound, setting_json, setting_text
    from auditor.text import json_text

    number, focus_m = typed.read_f_number(f_number), typed.read_distance(focus, "--focus", bench)
    subject_m = typed.read_distance(subject, "--subject", bench) if subject else None
    time_s, speed_m_s = typed.read_seconds(shutter), typed.read_speed_m_s(speed or "walking")
    moved = motion_mm(
        bench.focal_length_mm, focus_m, speed_m_s, time_s or 0.0, crossing, distance_from=bench.distance_from
    )
    coc_mm = float(bench.coc_mm(number, focus_m, moved))
    setting: dict[str, Any] = {"f_number": number, "focus_distance_m": focus_m, **bench.lens}
    movement: dict[str, Any] = {
        "speed_m_s": speed_m_s,
        "exposure_time_s": time_s or 0.0,
        "crossing_deg": crossing,
        "turn_deg_s": turn,
        "pixel_pitch_mm": float(np.nan_to_num(bench.pixel_pitch_mm)),
    }
    plain = sharp_zone(**setting, coc_mm=coc_mm)
    true_m = float(true_focus_m(focus_m, **bench.lens))
    if np.isnan(plain.near_limit_m) and np.isinf(true_m):
        raise SettingError(
            "By the readings the lens stands so far past infinity there that nothing is sharp.",
            "Set the ring nearer, or stop down.",
        )
    if np.isnan(plain.near_limit_m):
        raise SettingError(
            "The near limit lies within twice the focal length, where no zone focusing is done.",
            "Set the ring farther away, or count from the lens: --distance-from lens.",
        )
    found = SettingFound(
        bench=bench,
        f_number=number,
        focus_distance_m=focus_m,
        true_focus_m=true_m,
        exposure_time_s=time_s,
        coc_mm=coc_mm,
        plain=plain,
        together=combined_zone(**setting, coc_mm=bench.tolerance_mm, **movement) if time_s else None,
        at_focus=blur_parts(**setting, subject_distance_m=true_m, **movement),
        subject_distance_m=subject_m,
        at_subject=blur_parts(**setting, subject_distance_m=subject_m, **movement) if subject_m else None,
        speed_m_s=speed_m_s,
        crossing_deg=crossing,
    )
    typer.echo(json_text(setting_json(found)) if json else setting_text(found))
