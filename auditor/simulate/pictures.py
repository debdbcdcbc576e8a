"""Drawn pictures for an invented archive: a market hall, its stalls, and one figure.

The figure's height and face follow the pinhole model at its distance; a face detector finds and measures it
like a real one. Blur is drawn larger than life, because nothing of it could be seen on so small a picture.
"""

from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageChops, ImageDraw, ImageFilter

from auditor.optics.blur import defocus_mm
from auditor.optics.framing import standing_share

SIZE_PX = (660, 440)  # a face that 28 mm see at 1.5 m has 40 pixels from nose root to chin
TIMES_BLUR = 6.0  # how much larger than life the blur is drawn
_PER_MM = TIMES_BLUR * SIZE_PX[0] / 36.0  # pixels of blur for each millimetre of it on the sensor
_LEAST_SD_PX = 0.5  # for smooth edges
_COARSE = 2  # the hall, out of focus anyhow, is drawn at half the size
_EYE_M = 1.6  # height of the camera above the floor
_FOLLOWED = 0.1  # part of the walk across that shows; for the rest the camera follows
_HALL_M = 9.0  # distance at which the hall's blur is drawn
_FACING = 0.6  # share of the people who face the camera
_FACE_OF_HEIGHT = 0.0695  # nose root to chin (menton to sellion) over the stature, means of ANSUR II

_STONES = ((196, 182, 160), (178, 170, 158), (205, 190, 150), (168, 158, 150))
_LIGHTS = ((247, 240, 220), (226, 234, 240), (250, 228, 196))
_AWNINGS = ((158, 74, 62), (70, 104, 122), (96, 118, 82), (186, 142, 72), (120, 88, 116))
_COATS = (
    (52, 60, 78), (116, 62, 54), (62, 84, 70), (140, 118, 84), (88, 70, 96), (44, 44, 48), (164, 150, 132),
)  # fmt: skip
_HAIRS = ((60, 44, 36), (30, 24, 22), (150, 120, 80), (120, 116, 112))
_SKINS = ((224, 188, 160), (190, 146, 112), (140, 100, 76), (98, 68, 52))


@dataclass(frozen=True, slots=True)
class View:
    """What one frame shows: settings, the subject's true distance and its walk to the side [m], blur [mm]."""

    focal_length_mm: float
    f_number: float
    focus_m: float
    subject_m: float
    sideways_m: float
    defocus_mm: float
    motion_mm: float


def draw_picture(view: View, rng: np.random.Generator) -> Image.Image:
    """Draw a frame in the size of :data:`SIZE_PX`; the same `rng` state draws the same place and person."""
    far_blur = defocus_mm(view.focal_length_mm, view.f_number, view.focus_m, _HALL_M)
    hall = _hall(SIZE_PX[0] // _COARSE, SIZE_PX[1] // _COARSE, rng)
    picture = _blurred(hall, float(far_blur), 0.0, _COARSE).resize(SIZE_PX, Image.Resampling.BICUBIC)
    figure = Image.new("RGBA", SIZE_PX)
    per_metre = standing_share(view.subject_m, view.focal_length_mm, 24.0, 1.0) * SIZE_PX[1]
    _figure(figure, per_metre, view.sideways_m, rng)
    left, top, right, bottom = figure.getbbox() or (0, 0, 1, 1)
    margin = round(_PER_MM * (view.defocus_mm + view.motion_mm)) + 2
    figure = figure.crop((left - margin, top - margin, right + margin, bottom))
    figure = _blurred(figure, view.defocus_mm, view.motion_mm)
    picture.paste(figure, (left - margin, top - margin), figure)
    return picture


def draw_palm(rng: np.random.Generator) -> Image.Image:
    """Draw a frame taken with the palm over the lens: noise, and a little red light past the fingers."""
    width, height = SIZE_PX
    noise = np.abs(rng.normal(4.0, 3.0, (height, width, 3)))
    leak = np.exp(-np.linspace(0, 6, width))[None, :, None] * np.array([14.0, 5.0, 3.0])
    return Image.fromarray(np.clip(noise + leak, 0, 255).astype(np.uint8))


def _blurred(layer: Image.Image, disc_mm: float, smear_mm: float, coarse: int = 1) -> Image.Image:
    """Blur by a disc and a sideways smear; a disc of diameter c spreads an edge with sd c/4."""
    sd = max(round(disc_mm * _PER_MM / 4 / coarse, 1), _LEAST_SD_PX)
    smear = round(smear_mm * _PER_MM / 2 / coarse, 1)
    premultiplied = layer.convert("RGBa") if layer.mode == "RGBA" else layer
    if smear > 0:
        premultiplied = premultiplied.filter(ImageFilter.BoxBlur((smear, 0)))
    return premultiplied.filter(ImageFilter.GaussianBlur(sd)).convert(layer.mode)


def _pick(colours: tuple[tuple[int, int, int], ...], rng: np.random.Generator) -> tuple[int, int, int]:
    return colours[int(rng.integers(len(colours)))]


def _shade(colour: tuple[int, int, int], factor: float) -> tuple[int, int, int]:
    red, green, blue = (min(255, round(value * factor)) for value in colour)
    return red, green, blue


def _hall(width: int, height: int, rng: np.random.Generator) -> Image.Image:
    """Floor, a wall of arches, and stalls with striped awnings under them."""
    stone, light = _pick(_STONES, rng), _pick(_LIGHTS, rng)
    picture = Image.new("RGB", (width, height), stone)
    draw = ImageDraw.Draw(picture)
    floor, spacing = round(0.6 * height), round(height * rng.uniform(0.42, 0.72))
    draw.rectangle((0, floor, width, height), fill=_shade(stone, 0.62))
    for left in range(-int(rng.integers(spacing)), width, spacing):
        right, top, round_part = left + round(spacing * 0.74), round(0.06 * height), spacing // 3
        draw.rectangle((left, top + round_part, right, floor), fill=light)
        draw.ellipse((left, top, right, top + 2 * round_part), fill=light)
        draw.rectangle((right + 1, 0, left + spacing - 1, floor + 4), fill=_shade(stone, 0.86))
        if rng.random() < 0.75:
            _stall(draw, left - 3, right + 3, floor, spacing / 60, rng)
    return picture


def _stall(
    draw: ImageDraw.ImageDraw, left: int, right: int, floor: int, unit: float, rng: np.random.Generator
) -> None:
    colour, stripe = _pick(_AWNINGS, rng), round(rng.uniform(6, 10) * unit)
    counter = floor - round(6 * unit)
    top = counter - round(rng.uniform(30, 40) * unit)
    for number, x in enumerate(range(left, right, stripe)):
        shown = colour if number % 2 else _shade(colour, 1.5)
        draw.rectangle((x, top, min(x + stripe - 1, right), top + round(13 * unit)), fill=shown)
    draw.rectangle((left + 2, counter, right - 2, counter + round(22 * unit)), fill=_shade(colour, 0.55))
    size = round(8 * unit)
    for x in range(left + 4, right - size, size):
        goods = _shade(_pick(_AWNINGS, rng), 1.25)
        draw.ellipse((x, counter - size + 2, x + size - 1, counter + 2), fill=goods)


def _figure(picture: Image.Image, per_metre: float, sideways_m: float, rng: np.random.Generator) -> None:
    """A walking person whose eyes are about on the horizon, `per_metre` pixels to the metre."""
    draw = ImageDraw.Draw(picture)
    tall = 1.72 * rng.uniform(0.92, 1.08)
    coat, skin, trousers = _pick(_COATS, rng), _pick(_SKINS, rng), _shade(_pick(_COATS, rng), 0.7)
    middle = picture.width * rng.uniform(0.3, 0.7) + _FOLLOWED * sideways_m * per_metre
    floor = 0.5 * picture.height + _EYE_M * per_metre
    stride = rng.uniform(0.1, 0.34)

    def point(x_m: float, up_m: float) -> tuple[float, float]:
        return round(middle + x_m * per_metre), round(floor - up_m * per_metre)

    def box(x_m: float, up_m: float, half_x: float, half_up: float) -> list[tuple[float, float]]:
        return [point(x_m - half_x, up_m + half_up), point(x_m + half_x, up_m - half_up)]

    hip, shoulder = 0.5 * tall, 0.82 * tall
    for side in (-1, 1):
        foot = side * stride
        draw.polygon(
            [point(-0.12, hip), point(0.12, hip), point(foot + 0.07, 0), point(foot - 0.07, 0)], fill=trousers
        )
    arm = max(1, round(0.1 * per_metre))
    for side in (-1, 1):
        draw.line(
            [point(side * 0.2, shoulder - 0.06), point(side * (0.2 + stride / 2), hip)],
            _shade(coat, 0.85),
            arm,
        )
    draw.rectangle(box(0, shoulder + 0.02, 0.05, 0.08), fill=_shade(skin, 0.78))
    draw.polygon(
        [point(-0.2, hip - 0.12), point(0.2, hip - 0.12), point(0.24, shoulder - 0.08), point(0.14, shoulder),
         point(-0.14, shoulder), point(-0.24, shoulder - 0.08)],
        fill=coat,
    )  # fmt: skip
    head = _head(_FACE_OF_HEIGHT * tall * per_metre, skin, _pick(_HAIRS, rng), facing=rng.random() < _FACING)
    left, top = point(0, tall)
    picture.alpha_composite(head, (max(round(left - head.width / 2), 0), max(round(top), 0)))
    if rng.random() < 0.5:
        draw.rectangle(box(0.3 + stride / 2, hip - 0.16, 0.15, 0.17), fill=_pick(_AWNINGS, rng))


def _head(
    face_px: float, skin: tuple[int, int, int], hair: tuple[int, int, int], *, facing: bool
) -> Image.Image:
    """A head, `face_px` from nose root to chin, from the front or from behind; its top is the picture's."""
    unit = 4 * face_px  # drawn larger still: a face is told by its small parts
    middle, root = 0.8, 1.05  # of the nose root, in lengths of the face
    head = Image.new("RGBA", (max(round(2 * middle * unit), 4), max(round((root + 1.02) * unit), 4)))
    draw = ImageDraw.Draw(head)

    def oval(x: float, down: float, half_x: float, half_down: float, colour: tuple[int, int, int]) -> None:
        across, along = middle + x, root + down
        draw.ellipse(
            [unit * (across - half_x), unit * (along - half_down),
             unit * (across + half_x), unit * (along + half_down)],
            fill=colour,
        )  # fmt: skip

    def stroke(width: float, colour: tuple[int, int, int], *points: tuple[float, float]) -> None:
        line = [(unit * (middle + x), unit * (root + down)) for x, down in points]
        draw.line(line, fill=colour, width=max(1, round(width * unit)))

    oval(0, -0.13, 0.74, 0.89, hair)
    for side in (-1, 1):
        oval(side * 0.62, 0.16, 0.1, 0.21, _shade(skin, 0.85))
    if not facing:
        oval(0, 0.05, 0.66, 0.85, _shade(hair, 0.9))
        return head.resize((head.width // 4, head.height // 4), Image.Resampling.BOX)
    oval(0, 0.04, 0.6, 0.82, skin)
    oval(0, 0.45, 0.5, 0.55, skin)
    oval(0, -0.6, 0.55, 0.4, hair)
    oval(0, -0.26, 0.5, 0.42, skin)
    for side in (-1, 1):
        x = side * 0.27
        oval(x, 0.03, 0.17, 0.12, _shade(skin, 0.8))
        oval(x, 0.04, 0.13, 0.058, (240, 238, 232))
        oval(x, 0.04, 0.06, 0.058, (50, 34, 26))
        stroke(0.025, _shade(hair, 0.6), (x - 0.14, -0.01), (x, -0.035), (x + 0.14, 0))
        stroke(0.05, hair, (x - side * 0.14, -0.13), (x + side * 0.02, -0.18), (x + side * 0.17, -0.12))
        oval(side * 0.07, 0.445, 0.04, 0.025, _shade(skin, 0.5))
    oval(0, 0.41, 0.15, 0.07, _shade(skin, 0.92))
    stroke(0.05, _shade(skin, 1.06), (0, 0.02), (0, 0.4))
    oval(0, 0.64, 0.22, 0.065, (176, 92, 84))
    stroke(0.025, (96, 44, 40), (-0.22, 0.63), (0.22, 0.63))
    across = (np.linspace(-middle, middle, head.width) / 0.62) ** 2
    light = Image.fromarray(
        np.tile(255 * (1 - 0.28 * np.clip(across, 0, 1.2)), (head.height, 1)).astype(np.uint8)
    )
    shaded = ImageChops.multiply(head.convert("RGB"), Image.merge("RGB", [light] * 3))
    shaded.putalpha(head.getchannel("A"))
    return shaded.resize((head.width // 4, head.height // 4), Image.Resampling.BOX)
