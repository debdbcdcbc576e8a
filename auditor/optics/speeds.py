"""How fast people move, by a word [m/s]; racers are faster: sprinters 10, road racers 11 (from memory)."""

from auditor.settings import WALKING_SPEED_M_S

MPH_M_S = 0.44704  # exact

# Jogging and cycling (10 to 12 mph, light effort): the table of activities of the Harvard School of Public
# Health. Running: the median of men in marathons in the United States, 1980, 3 h 32 min 17 s, as quoted in
# the press. Walking: observed at crossings, Andrews et al., n = 139.
SPEEDS = {
    "walking": WALKING_SPEED_M_S,
    "jogging": 6 * MPH_M_S,
    "running": 42195 / (3 * 3600 + 32 * 60 + 17),
    "cycling": 11 * MPH_M_S,
}
