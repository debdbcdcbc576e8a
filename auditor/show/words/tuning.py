"""What is said of the apertures of a lens."""

from __future__ import annotations

from auditor.advice.result import TunedStop, Tuning
from auditor.show.words.figures import interval, listed, percent, whole
from auditor.units import format_f_number

LIGHTS = ("bright", "medium", "dim")
LOSSES = {
    "lost_to_defocus": "defocus",
    "lost_to_motion": "subject motion",
    "lost_to_diffraction": "diffraction",
    "lost_to_light": "too little light",
}
SMALL_LOSS = 0.005  # shares of bursts below this are not worth a word


def count_label(stop: TunedStop) -> str:
    """Say the n of a stop's observed rate; empty for a stop that was not used."""
    return f"{whole(round(stop.observed * stop.n))} of {whole(stop.n)}" if stop.n else ""


def prefer(tuning: Tuning) -> str:
    """Say which f-number to prefer in which light."""
    known = {light: tuning.prefer.get(light) for light in LIGHTS if tuning.prefer.get(light) is not None}
    if not known:
        if tuning.preferred is None:
            return f"No aperture of {tuning.lens} can be preferred."
        return f"With {tuning.lens}, prefer {format_f_number(tuning.preferred)}."
    stops = set(known.values())
    if len(stops) == 1:
        (stop,) = stops
        lights = "every light met" if len(known) == len(LIGHTS) else f"{listed(known)} light"
        return f"With {tuning.lens}, prefer {format_f_number(float(stop or 0))} in {lights}."
    lights_of = {stop: [light for light, own in known.items() if own == stop] for stop in known.values()}
    parts = [f"{format_f_number(float(stop or 0))} in {listed(of)} light" for stop, of in lights_of.items()]
    return f"With {tuning.lens}, prefer {listed(parts)}."


def losses(tuning: Tuning) -> str:
    """Say what takes most at the widest and at the narrowest stop; empty without stops."""
    if not tuning.stops:
        return ""
    ends = [tuning.stops[0]] if len(tuning.stops) == 1 else [tuning.stops[0], tuning.stops[-1]]
    parts = []
    for stop in ends:
        name = max(LOSSES, key=lambda loss: getattr(stop, loss))
        lost = getattr(stop, name)
        if lost >= SMALL_LOSS:
            parts.append(
                f"at {format_f_number(stop.f_number)} {LOSSES[name]} takes most, {percent(lost)} of bursts"
            )
    said = "; ".join(parts)
    return f"{said[0].upper()}{said[1:]}." if said else "No loss is large at any stop."


def chart_finding(tuning: Tuning, units: str) -> str:  # noqa: ARG001 -- charts are described alike
    """State the finding of the tuning chart for those who cannot see it."""
    stops = "; ".join(
        f"{format_f_number(stop.f_number)}: expected {percent(stop.expected)} "
        f"({interval(stop.low, stop.high)})" + (f", observed {count_label(stop)}" if stop.n else "")
        for stop in tuning.stops
    )
    return f"Expected hit rate at each stop, and what is lost. {prefer(tuning)} {stops}."
