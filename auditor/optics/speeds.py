"""How fast people move, by a word: each speed with its source."""

from __future__ import annotations

from auditor.settings import WALKING_SPEED_M_S

MPH_M_S = 0.44704  # exact

SPEEDS = {
    "walking": (WALKING_SPEED_M_S, "observed at crossings, Andrews et al., n = 139"),
    "jogging": (
        6 * MPH_M_S,
        "6 mph, the jogging of the table of activities of the Harvard School of Public Health",
    ),
    "running": (
        42195 / (3 * 3600 + 32 * 60 + 17),
        "median of men in marathons in the United States, 1980, 3 h 32 min 17 s, as quoted in the press",
    ),
    "cycling": (
        11 * MPH_M_S,
        "10 to 12 mph, light effort, in the table of activities of the Harvard School of Public Health",
    ),
}  # racers are faster: sprinters about 10 m/s, road racers 11 m/s and more (from memory)
