"""``auditor zone``: one sharp zone from typed settings."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from auditor.cli import engraved, options, typed


def zone(
    focal_length: typed.FocalLength,
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
    speed: Annotated[
        str,
        typer.Option(
            "--speed", help="Speed of the subject: 1.3m/s, 5km/h, walking, jogging, running or cycling."
        ),
    ] = "1.32m/s",
    crossing: typed.Crossing = None,
    turn: Annotated[
        float, typer.Option("--turn", min=0, help="How fast the camera turns, in degrees a second.")
    ] = 0.0,
    pixels_wide: typed.PixelsWide = None,
    sensor: typed.SensorSize = "36x24",
    coc: options.Coc = "handbook",
    scale_coc: engraved.ScaleCoc = None,
    scale: engraved.Scale = None,
    ring_check: engraved.RingCheck = None,
    distance_from: typed.DistanceFrom = "sensor",
    units: typed.Units = None,
    json: options.Json = False,
) -> None:
    """Show the sharp zone of one setting, and the blur where the subject stands."""
    import numpy as np

    from auditor.errors import SettingError
    from auditor.optics.blur import blur_parts, motion_mm
    from auditor.optics.lens import sharp_zone
    from auditor.optics.ring_check import true_focus_m
    from auditor.show.zone_text import SettingFound, setting_json, setting_text
    from auditor.text import json_text
    from auditor.units import parse_exposure_time_s

    shown_in = typed.units_in_use(units, focus, subject)
    bench = typed.read_bench(focal_length, sensor, coc, distance_from, shown_in, pixels_wide)
    shift = engraved.read_ring_checks(ring_check, bench)
    number, focus_m = typed.read_f_number(f_number), bench.distance(focus, "--focus")
    subject_m = bench.distance(subject, "--subject") if subject else None
    time_s = parse_exposure_time_s(shutter) if shutter else 0.0
    speed_m_s = typed.read_speed_m_s(speed)
    moved = motion_mm(
        bench.focal_length_mm, focus_m, speed_m_s, time_s, crossing, distance_from=bench.distance_from
    )
    coc_mm = float(bench.coc_mm(number, focus_m, moved))
    setting: dict[str, Any] = {
        "focal_length_mm": bench.focal_length_mm,
        "f_number": number,
        "focus_distance_m": focus_m,
        "distance_from": bench.distance_from,
        "shift_mm": shift.shift_mm if shift else 0.0,
    }
    movement: dict[str, Any] = {
        "speed_m_s": speed_m_s,
        "exposure_time_s": time_s,
        "crossing_deg": crossing,
        "turn_deg_s": turn,
        "pixel_pitch_mm": float(np.nan_to_num(bench.pixel_pitch_mm)),
    }
    plain = sharp_zone(**setting, coc_mm=coc_mm)
    true_m = float(true_focus_m(focus_m, bench.focal_length_mm, setting["shift_mm"], bench.distance_from))
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
    together = None
    if shutter:
        from auditor.optics.combined import combined_zone

        together = combined_zone(**setting, coc_mm=bench.tolerance_mm, **movement)
    found = SettingFound(
        focal_length_mm=bench.focal_length_mm,
        f_number=number,
        focus_distance_m=focus_m,
        exposure_time_s=time_s if shutter else None,
        distance_from=bench.distance_from,
        criterion=bench.criterion,
        coc_mm=coc_mm,
        tolerance_mm=bench.tolerance_mm,
        plain=plain,
        together=together,
        at_focus=blur_parts(**setting, subject_distance_m=true_m, **movement),
        subject_distance_m=subject_m,
        at_subject=blur_parts(**setting, subject_distance_m=subject_m, **movement) if subject_m else None,
        pixel_pitch_mm=bench.pixel_pitch_mm,
        own_mm=bench.own_mm(coc_mm),
        scale=engraved.read_scale(scale_coc, scale, bench),
        sensor=bench.sensor,
        shift=shift,
        checks=tuple(ring_check or ()),
        true_focus_m=true_m,
        speed_m_s=speed_m_s,
        crossing_deg=crossing,
    )
    typer.echo(json_text(setting_json(found)) if json else setting_text(found, shown_in))
