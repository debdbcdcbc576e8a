"""Photographs for the sheet: drawn figures of known size and distance, before scikit-image's pictures."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw
from PIL.TiffImagePlugin import IFDRational

from tests.conftest import xmp_packet

SENSOR_MM = (36.0, 24.0)
STATURE_M, SHOULDER_LINE_M, EYE_M = 1.69235, 1.69235 - 0.30445, 1.6


def draw_figure(size, distance_m, focal_mm, background=None, x=0.5):
    """Draw a figure of mean stature before a level camera at 1.6 m, by the thin lens; also its ends [y]."""
    width, height = size
    picture = background.resize(size) if background is not None else Image.new("RGB", size, (150, 150, 140))
    focal_m = focal_mm / 1000
    # from the sensor to the lens's object distance, and its magnification
    u = (distance_m + np.sqrt(distance_m**2 - 4 * focal_m * distance_m)) / 2
    per_m = focal_m / (u - focal_m) / ((SENSOR_MM[0] if height > width else SENSOR_MM[1]) / 1000) * height

    def y(up_m):
        return height / 2 - (up_m - EYE_M) * per_m

    draw, middle = ImageDraw.Draw(picture), x * width
    head = 0.1 * per_m
    draw.rectangle((middle - 0.14 * per_m, y(0.8), middle + 0.14 * per_m, y(0)), fill=(40, 44, 60))
    draw.rectangle(
        (middle - 0.24 * per_m, y(SHOULDER_LINE_M), middle + 0.24 * per_m, y(0.75)), fill=(130, 60, 40)
    )
    draw.ellipse(
        (middle - head, y(STATURE_M), middle + head, y(SHOULDER_LINE_M + 0.05)), fill=(220, 180, 150)
    )
    return picture, {
        "top": y(STATURE_M) / height,
        "shoulder": y(SHOULDER_LINE_M) / height,
        "soles": y(0) / height,
    }


def write_walk(
    folder: Path, count=60, size=(1500, 1000), *, lens=True, rated=True, dark=(), seed=3, names=None
):
    """Write a walk of drawn figures and return the true distance [m] of each by file name."""
    import skimage.data

    rng = np.random.default_rng(seed)
    grounds = [Image.fromarray(getattr(skimage.data, n)()[..., :3]) for n in ("coffee", "rocket", "chelsea")]
    folder.mkdir(parents=True, exist_ok=True)
    at, truth = datetime(2031, 4, 5, 14, 0), {}
    for i in range(count):
        name = names[i] if names else f"WALK{i + 1:04d}.jpg"
        distance = float(np.exp(rng.uniform(np.log(1.5), np.log(6))))
        if i in dark:
            picture = Image.fromarray(rng.integers(0, 6, (size[1], size[0], 3)).astype("uint8"))
        else:
            picture, _ = draw_figure(size, distance, 28.0, grounds[i % 3], rng.uniform(0.3, 0.7))
        exif = Image.Exif()
        exif[0x0110] = "body A"
        tags = exif.get_ifd(0x8769)
        tags[0x9003] = f"{at:%Y:%m:%d %H:%M:%S}"
        tags[0x829A], tags[0x8827] = IFDRational(1, 250), 400
        if lens:
            tags[0x920A], tags[0x829D], tags[0xA405] = IFDRational(28, 1), IFDRational(8, 1), 28
        xmp = xmp_packet(1 if i % 12 == 5 else 0)
        picture.save(folder / name, quality=88, exif=exif, **({"xmp": xmp} if rated else {}))
        truth[name] = distance
        at += timedelta(minutes=1 if i % 20 else 14)
    return truth
