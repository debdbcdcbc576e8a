"""Pictures with a face of known size and known blur: the portrait that scikit-image ships (public domain)."""

from __future__ import annotations

import io
from functools import cache

import numpy as np
import pytest
from PIL import Image

data = pytest.importorskip("skimage.data", reason="scikit-image is not installed")

# From chin point to nose root in the portrait's own pixels, as a face mesh of another program read it. The
# eye can check it: the nose root lies near row 100, the chin near row 178.
OWN_FACE_PX = 78.2
OWN_BOX = (178, 63, 267, 175)


@cache
def portrait() -> Image.Image:
    return Image.fromarray(data.astronaut())


@cache
def background(name: str, size: tuple[int, int] = (6000, 4000)) -> Image.Image:
    return Image.fromarray(getattr(data, name)()).convert("RGB").resize(size, Image.Resampling.BICUBIC)


def with_face(face_px: float, at=(2500, 1300), on="coffee", size=(6000, 4000)) -> Image.Image:
    """A frame in which the face is ``face_px`` long."""
    side = round(portrait().width * face_px / OWN_FACE_PX)
    frame = background(on, size).copy()
    frame.paste(portrait().resize((side, side), Image.Resampling.LANCZOS), at)
    return frame


def disc(diameter_px: float) -> np.ndarray:
    """An even disc, by eight samples a pixel and axis; its weights sum to 1."""
    half = int(diameter_px / 2) + 2
    place = np.linspace(-half - 0.5, half + 0.5, (2 * half + 1) * 8, endpoint=False) + 1 / 16
    fine = np.hypot(*np.meshgrid(place, place)) <= diameter_px / 2
    kernel = fine.reshape(2 * half + 1, 8, 2 * half + 1, 8).mean(axis=(1, 3))
    return kernel / kernel.sum()


def photographed(picture: Image.Image, kernel=None, noise=10.0, quality=82, contrast=1.0, seed=0):
    """Blur in linear light, soften as a sensor does, add noise, write and read a JPEG of 4:2:0."""
    from scipy.ndimage import gaussian_filter
    from scipy.signal import fftconvolve

    light = (np.asarray(picture) / 255.0) ** 2.2
    if kernel is not None:
        edge = kernel.shape[0] // 2
        wide = np.pad(light, ((edge, edge), (edge, edge), (0, 0)), mode="edge")
        light = np.stack([fftconvolve(wide[..., i], kernel, mode="valid") for i in range(3)], axis=-1)
    light = gaussian_filter(light, (0.6, 0.6, 0))
    tones = 128 + (np.clip(light, 0, 1) ** (1 / 2.2) * 255 - 128) * contrast
    tones += np.random.default_rng(seed).normal(0, noise, tones.shape)
    out = io.BytesIO()
    made = Image.fromarray(np.clip(tones, 0, 255).astype(np.uint8))
    made.save(out, "JPEG", quality=quality, subsampling=2)
    return Image.open(out).convert("RGB")


def blurred_face(face_px: float, kernel=None, **camera) -> np.ndarray:
    """The grey box of a face of this size after all that."""
    times = face_px / OWN_FACE_PX
    part = portrait().crop((100, 0, 360, 240))
    part = part.resize((round(260 * times), round(240 * times)), Image.Resampling.LANCZOS)
    taken = photographed(part, kernel, **camera)
    left, top, right, bottom = (round(v * times) for v in (78, OWN_BOX[1], 167, OWN_BOX[3]))
    return np.asarray(taken.crop((left, top, right, bottom)).convert("L"))
