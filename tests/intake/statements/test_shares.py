"""Distances from body shares, against hand arithmetic with published body measures.

Measures: Gordon et al., 2012 Anthropometric Survey of U.S. Army Personnel, Natick/TR-15/007, open data
(4082 men, 1986 women): stature 1756.2 ± 68.6 and 1628.5 ± 64.2 mm,
menton to sellion 122.6 ± 6.7 and 113.1 ± 6.1 mm.
"""

import numpy as np
import pytest
from PIL import Image
from worlds.stated import ARCADE_ON as SESSION
from worlds.stated import read, said

from auditor.frames import with_columns
from auditor.intake.frame_index import FrameIndex
from auditor.intake.statements.bodies import (
    FACE,
    HEAD_SHOULDER,
    MEASURES,
    PUPILS,
    SEATED,
    SHOULDERS,
    STANDING,
    BodyMeasure,
    distance_of_share,
    either_sex,
)
from auditor.intake.statements.notes import NOTE_READERS
from auditor.intake.statements.shares import claim_shares, picture_heights_mm


def turn(path, orientation):
    """Write an Exif orientation into a photograph."""
    with Image.open(path) as picture:
        exif = picture.getexif()
        exif[0x0112] = orientation
        picture.save(path, exif=exif)


# --- the formula -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("measure", "share", "focal_length_mm", "height_mm", "expected_m"),
    [
        # x = 0.5 * 24 = 12; X/x = 1692.35/12 = 141.029; u = 28 * 142.029 = 3976.8;
        # v = 28 * (1 + 1/141.029) = 28.199; their sum
        (STANDING, 0.5, 28.0, 24.0, 4.0050),
        # upright, the long side is the height: x = 18; X/x = 94.0194; u = 28 * 95.0194 = 2660.5; v = 28.298
        (STANDING, 0.5, 28.0, 36.0, 2.6888),
        # x = 2.4; X/x = 117.85/2.4 = 49.1042; u = 35 * 50.1042 = 1753.6; v = 35.713
        (FACE, 0.1, 35.0, 24.0, 1.7894),
        # (315.5 + 293.4)/2 = 304.45; x = 4.8; X/x = 63.4271; u = 28 * 64.4271 = 1803.96; v = 28.441
        (HEAD_SHOULDER, 0.2, 28.0, 24.0, 1.8324),
        # 62.85; x = 1.2; X/x = 52.375; u = 50 * 53.375 = 2668.75; v = 50.955
        (PUPILS, 0.05, 50.0, 24.0, 2.7197),
        # 480.35; x = 7.2; X/x = 66.7153; u = 35 * 67.7153 = 2370.03; v = 35.525
        (SHOULDERS, 0.3, 35.0, 24.0, 2.4056),
        # 887.45; x = 12; X/x = 73.9542; u = 28 * 74.9542 = 2098.72; v = 28.379
        (SEATED, 0.5, 28.0, 24.0, 2.1271),
    ],
)
def test_thin_lens_distances_by_hand(measure, share, focal_length_mm, height_mm, expected_m):
    distance, _ = distance_of_share(share, measure, focal_length_mm, height_mm)
    assert distance == pytest.approx(expected_m, abs=1e-4)


def test_both_sexes_mix_to_the_moments_of_a_large_sample():
    # Checked by drawing rather than by the formula: half men, half women, each normal.
    rng = np.random.default_rng(7)
    half = 400_000
    drawn = np.concatenate([rng.normal(1756.2, 68.6, half), rng.normal(1628.5, 64.2, half)])
    assert pytest.approx(drawn.mean(), rel=3e-4) == STANDING.mean_mm
    assert pytest.approx(drawn.std(), rel=3e-3) == STANDING.sd_mm
    # 1692 ± 92 mm and a coefficient of 6.8 % of the face, to the printed digits
    assert (round(STANDING.mean_mm), round(STANDING.sd_mm)) == (1692, 92)
    assert 100 * FACE.sd_mm / FACE.mean_mm == pytest.approx(6.8, abs=0.05)


def test_the_dimensions_are_the_published_ones():
    # From the two tables of the open data (4082 men, 1986 women), mean and sd in mm: acromial height 1440.7
    # and 1335.1; sitting height 918.3 ± 35.7 and 856.6 ± 33.1; interpupillary 64.0 ± 3.4 and 61.7 ± 3.6,
    # mixed 62.9 ± 3.7 (5.9 %); bideltoid 510.4 ± 32.5 and 450.3 ± 28.7, mixed 480 ± 43 (8.9 %).
    assert pytest.approx((1756.2 - 1440.7 + 1628.5 - 1335.1) / 2, abs=0.01) == HEAD_SHOULDER.mean_mm
    assert 100 * HEAD_SHOULDER.sd_mm / HEAD_SHOULDER.mean_mm == pytest.approx(7.0, abs=0.05)  # from memory
    assert (PUPILS.mean_mm, PUPILS.sd_mm) == (pytest.approx(62.9, abs=0.06), pytest.approx(3.7, abs=0.06))
    assert (round(SHOULDERS.mean_mm), round(SHOULDERS.sd_mm)) == (480, 43)
    assert pytest.approx((918.3 + 856.6) / 2, abs=0.01) == SEATED.mean_mm
    assert SHOULDERS.sd_mm / SHOULDERS.mean_mm == pytest.approx(0.089, abs=0.001)
    for name in ("head_shoulder_share", "shoulders_share"):
        _, rel_sd = distance_of_share(0.2, MEASURES[name], 28.0, 24.0)
        assert 0.08 < rel_sd < 0.13


def image_length(focal_mm, distance_m, top_m, bottom_m, tilt_rad):
    """Length on the sensor of an upright body before a tilted pinhole camera at 1.6 m [mm]."""
    top, bottom = (np.arctan((end - 1.6) / distance_m) for end in (top_m, bottom_m))
    return focal_mm * (np.tan(top - tilt_rad) - np.tan(bottom - tilt_rad))


def test_a_tilted_camera_bends_a_whole_figure_as_much_as_the_stated_error_allows():
    # A whole figure at 3 m reads 5 % too far or 12 % too near when the camera is tilted by 10 degrees.
    level = image_length(28, 3.0, 1.692, 0, 0)
    far, near = (level / image_length(28, 3.0, 1.692, 0, np.radians(t)) - 1 for t in (-10, 10))
    assert far == pytest.approx(0.05, abs=0.01)
    assert near == pytest.approx(-0.12, abs=0.01)
    rng = np.random.default_rng(5)
    for measure, top, bottom in ((STANDING, 1.692, 0.0), (SEATED, 1.3, 0.45)):
        read = 1 / image_length(28, 3.0, top, bottom, rng.normal(0, np.radians(4), 100_000))
        low, high = np.quantile(read, [0.159, 0.841])
        assert np.radians(4) * measure.below_eye_m / 3.0 == pytest.approx(
            (high - low) / 2 / np.median(read), rel=0.08
        )


def test_the_stated_error_is_that_of_many_people_and_readings():
    # People and readings drawn at random, the same formula run on each: the spread must be the stated one.
    rng = np.random.default_rng(11)
    n, focal, true_m, height = 200_000, 28.0, 3.0, 24.0
    for measure, mean_mm, share_sd in ((STANDING, 1692.35, 0.00707), (FACE, 117.85, 0.00707)):
        body = rng.normal(mean_mm, measure.sd_mm, n) * (1 + rng.normal(0, measure.other_sd, n))
        real_focal = focal * (1 + rng.normal(0, 0.02, n))
        tilt = rng.normal(0, np.radians(4), n) * measure.below_eye_m / true_m
        share = body / (true_m * 1000 / real_focal - 1) / height * (1 + tilt) + rng.normal(0, share_sd, n)
        share = share[share > 0.005]
        read_m, _ = distance_of_share(share, measure, focal, height)
        middle = mean_mm / (true_m * 1000 / focal - 1) / height
        _, stated = distance_of_share(middle, measure, focal, height)
        low, high = np.quantile(read_m, [0.159, 0.841])
        assert (high - low) / 2 / np.median(read_m) == pytest.approx(float(stated), rel=0.06)


def test_unknown_in_unknown_out_and_an_image_larger_than_life_has_no_distance():
    share = np.array([np.nan, 0.5, 0.5, 1.0])
    focal = np.array([28.0, np.nan, 28.0, 100.0])
    height = np.array([24.0, 24.0, np.nan, 200.0])
    distance, rel_sd = distance_of_share(share, FACE, focal, height)
    assert np.isnan(distance).all()
    assert np.isnan(rel_sd).all()


def test_what_the_error_is_made_of_by_hand():
    """A body of 240 mm whose image is 24 mm, ten times shorter, before a lens of 100 mm.

    It stands 100 (1 + 10) = 1100 mm from the lens and 100 (2 + 10 + 1/10) = 1210 mm from the sensor. A tilt
    of 4 degrees of what lies 1.5 m below the eye shifts 0.06981 * 1.5 / 1.1 = 0.0952 of the image. The body
    varies by 5 %, the reading by 0.012 of 1, its posture by 3 %. Close up the distance follows by 9/11 of
    all that.
    """
    body = BodyMeasure(240.0, 12.0, 0.03, below_eye_m=1.5)
    distance, rel_sd = distance_of_share(1.0, body, 100.0, 24.0, reading_sd=0.012)
    assert float(distance) == pytest.approx(1.21, rel=1e-9)
    of_all = np.sqrt(0.05**2 + 0.012**2 + 0.03**2 + (np.radians(4) * 1.5 / 1.1) ** 2)
    assert float(rel_sd) == pytest.approx(np.sqrt((9 / 11 * of_all) ** 2 + 0.02**2), rel=1e-9)
    half, _ = distance_of_share(0.5, body, 100.0, 24.0)
    assert float(half) == pytest.approx(100 * (2 + 20 + 1 / 20) / 1000, rel=1e-9)
    assert np.isnan(distance_of_share(1.0, body, 100.0, 240.0)[0]), "life-size"
    assert not np.isnan(distance_of_share(1.0, body, 100.0, 239.0)[0])


def test_equal_sexes_mix_to_themselves():
    assert either_sex((100.0, 5.0), (100.0, 5.0), 0.0).sd_mm == pytest.approx(5.0, rel=1e-12)


# --- the picture's height on the sensor --------------------------------------------------------------


def table(**columns):
    n = max(len(v) for v in columns.values() if isinstance(v, list))
    import pandas as pd

    return with_columns(pd.DataFrame({"file": [f"{i}" for i in range(n)], **columns}))


def test_the_height_is_the_short_side_lying_and_the_long_side_standing():
    frames = table(
        pixel_width=[6000, 4000, None, 4000],
        pixel_height=[4000, 6000, None, 4000],
        sensor_width_mm=36.0,
        sensor_height_mm=24.0,
        sensor_source="session",
    )
    height, misshapen = picture_heights_mm(frames)
    np.testing.assert_allclose(height, [24.0, 36.0, np.nan, np.nan], rtol=1e-12)
    assert misshapen.tolist() == [False, False, False, True]


def test_a_camera_of_four_by_three_pictures_has_such_a_sensor_where_only_the_crop_factor_is_known():
    # Twice the crop of 36×24: diagonal 21.63 mm. A 4:3 sensor of that diagonal is 17.31×12.98 mm, close to
    # the 17.3×13.0 mm of the Four Thirds standard.
    frames = table(
        pixel_width=[4608, 3456, 4608, 4608],
        pixel_height=[3456, 4608, 3456, 3072],
        camera="body A",
        sensor_width_mm=18.0,
        sensor_height_mm=12.0,
        sensor_source="exif",
    )
    height, misshapen = picture_heights_mm(frames)
    np.testing.assert_allclose(height[:3], [13.0, 17.3, 13.0], rtol=0.002)
    assert misshapen.tolist() == [False, False, False, True]


def test_pictures_half_of_which_are_four_by_three_leave_the_sensor_as_it_is_recorded():
    frames = table(
        pixel_width=[4608, 4608, 4500, 4500],
        pixel_height=[3456, 3456, 3000, 3000],
        camera="body A",
        sensor_width_mm=18.0,
        sensor_height_mm=12.0,
        sensor_source="exif",
    )
    height, misshapen = picture_heights_mm(frames)
    np.testing.assert_array_equal(height, [np.nan, np.nan, 12.0, 12.0])
    assert misshapen.tolist() == [True, True, False, False]


def test_a_square_picture_lies():
    frames = table(
        pixel_width=[4000, 4000],
        pixel_height=[4000, 4001],
        sensor_width_mm=24.4,
        sensor_height_mm=24.0,
        sensor_source="session",
    )
    assert picture_heights_mm(frames)[0].tolist() == [24.0, 24.4]


# --- from the notes to the table ---------------------------------------------------------------------


def test_shares_in_notes_become_distances_for_a_lens_that_tells_nothing(walk):
    folder = walk(4, size=(36, 24))
    turn(folder / "P1010002.jpg", 6)
    (folder / "session.toml").write_text(SESSION + '[[camera]]\nsensor = "36x24"\n')
    (folder / "notes.csv").write_text(
        "file,standing_share,face_share,subject_distance\n"
        "P1010001,50%,,\nP1010002,0.5,,\nP1010003,50%,,7m\nP1010004,,10%,\n"
    )
    archive = read(folder)
    frames = archive.table
    assert archive.problems == []
    assert frames["subject_distance_m"][0] == pytest.approx(4.0050, abs=1e-4)
    assert frames["subject_distance_m"][1] == pytest.approx(2.6888, abs=1e-4)  # stands upright by its Exif
    assert frames["subject_distance_m"][2] == 7.0  # a distance of the notes' own wins
    assert frames["subject_distance_rel_sd"][2] == 0.15
    # 28 * (2 + r + 1/r) with r = 117.85/2.4 = 49.1042
    assert frames["subject_distance_m"][3] == pytest.approx(1.4315, abs=1e-4)
    assert frames["subject_distance_source"].tolist() == ["notes"] * 4
    assert 0.05 < frames["subject_distance_rel_sd"][0] < 0.08 < frames["subject_distance_rel_sd"][3] < 0.12
    assert not [name for name in frames if name.startswith("note_")]


def test_the_surer_share_is_used_and_a_contradiction_is_said(walk):
    folder = walk(2, focal_length_mm=28.0, size=(36, 24))
    (folder / "session.toml").write_text('[[camera]]\nsensor = "36x24"\n')
    # At 4.0050 m a face fills 117.85/1692.35 of what the stature fills: 3.48 %.
    (folder / "notes.csv").write_text("file,standing_share,face_share\nP1010001,50%,3.5%\nP1010002,50%,10%\n")
    archive = read(folder)
    np.testing.assert_allclose(archive.table["subject_distance_m"], [4.0050, 4.0050], atol=1e-4)
    assert said(archive) == (
        "P1010002.jpg: standing_share and face_share contradict: 4.01 m and 1.43 m. The surest one was used. "
        "Read them again; a child, a seated person or a hidden foot reads too far."
    )


def test_a_stated_error_wins_and_a_note_may_give_the_focal_length(walk):
    folder = walk(1, size=(36, 24))
    (folder / "session.toml").write_text('[[camera]]\nsensor = "36x24"\n')
    (folder / "notes.csv").write_text(
        "file,standing_share,subject_distance_sd,focal_length\nP1010001,50%,0.3,28mm\n"
    )
    frames = read(folder).table
    assert frames["subject_distance_m"][0] == pytest.approx(4.0050, abs=1e-4)
    assert frames["subject_distance_rel_sd"][0] == 0.3


@pytest.mark.parametrize(
    ("facts", "session", "expected"),
    [
        ({"size": (36, 24)}, '[[camera]]\nsensor = "36x24"\n', "the focal length is unknown"),
        ({"size": (24, 24), "focal_length_mm": 28.0}, '[[camera]]\nsensor = "36x24"\n', "it was cropped"),
        ({"size": (32, 18), "focal_length_mm": 28.0}, '[[camera]]\nsensor = "1.5x"\n', "it was cropped"),
    ],
)
def test_a_share_that_gives_no_distance_says_why(walk, facts, session, expected):
    folder = walk(1, **facts)
    (folder / "session.toml").write_text(session)
    (folder / "notes.csv").write_text("file,standing_share\nP1010001,50%\n")
    archive = read(folder)
    assert np.isnan(archive.table["subject_distance_m"][0])
    assert archive.table["subject_distance_source"][0] == "unknown"
    assert len(archive.problems) == 1
    assert expected in said(archive)


def test_no_distance_comes_from_a_share_while_the_sensor_is_assumed(walk):
    folder = walk(1, focal_length_mm=28.0, size=(36, 24))
    (folder / "notes.csv").write_text("file,standing_share\nP1010001,50%\n")
    archive = read(folder)
    assert np.isnan(archive.table["subject_distance_m"][0])
    assert "Its share gives no distance: the sensor's size is assumed" in said(archive)
    (folder / "session.toml").write_text('[[camera]]\nsensor = "36x24"\n')
    assert read(folder).table["subject_distance_m"][0] == pytest.approx(4.0050, abs=1e-4)


def test_shares_apply_to_a_frame_table_too(tmp_path):
    (tmp_path / "mine.csv").write_text(
        "file,focal_length_mm,pixel_width,pixel_height,sensor_width_mm,sensor_height_mm\n"
        "a,28,6000,4000,36,24\nb,28,,,36,24\n"
    )
    (tmp_path / "notes.csv").write_text("file,standing_share\na,50%\nb,50%\n")
    archive = read(tmp_path / "mine.csv")
    assert archive.table["subject_distance_m"][0] == pytest.approx(4.0050, abs=1e-4)
    assert np.isnan(archive.table["subject_distance_m"][1])
    assert "b: Its share gives no distance: the picture's size in pixels is unknown" in said(archive)


def test_the_nearest_share_wins_and_a_distance_further_out_still_wins_over_it(walk):
    folder = walk(2, folder="walk/inner", focal_length_mm=28.0, size=(36, 24)).parent
    (folder / "session.toml").write_text('[[camera]]\nsensor = "36x24"\n')
    (folder / "notes.csv").write_text(
        "file,standing_share,subject_distance\ninner/P1010001,25%,\ninner/P1010002,,3m\n"
    )
    (folder / "inner" / "notes.csv").write_text("file,standing_share\nP1010001,50%\nP1010002,50%\n")
    np.testing.assert_allclose(read(folder).table["subject_distance_m"], [4.0050, 3.0], atol=1e-4)


@pytest.mark.parametrize("text", ["5", "47", "1", "0", "-3%", "120%", "half"])
def test_a_share_that_could_be_guessed_wrong_is_refused(walk, text):
    folder = walk(1, focal_length_mm=28.0, size=(36, 24))
    (folder / "notes.csv").write_text(f"file,face_share\nP1010001,{text}\n")
    archive = read(folder)
    assert "Write it like 0.15 or 15%" in said(archive)
    assert np.isnan(archive.table["subject_distance_m"][0])


def test_percent_decimal_comma_and_fraction_are_the_same_share():
    assert NOTE_READERS["face_share"]("4.5%") == pytest.approx(0.045, rel=1e-12)
    assert NOTE_READERS["face_share"]("4,5 %") == pytest.approx(0.045, rel=1e-12)
    assert NOTE_READERS["face_share"]("0.045") == pytest.approx(0.045, rel=1e-12)


def test_a_drawn_figures_share_gives_back_its_distance():
    """Figures drawn by the pinhole model, 1.72 m tall give or take 8 %; read off as a person would."""
    from auditor.simulate.pictures import View, draw_picture

    ratios = []
    for seed in range(24):
        subject_m = 4.0 + seed / 12  # far enough for the feet to be in the picture
        views = (View(28.0, 8.0, 3.0, at_m, 0.0, 0.0, 0.0) for at_m in (subject_m, 400.0))
        shown, empty = (
            np.asarray(draw_picture(view, np.random.default_rng(seed)), dtype=float) for view in views
        )
        rows = np.flatnonzero(np.abs(shown - empty).sum(axis=2).max(axis=1) > 10)
        share = (rows[-1] - rows[0] + 1) / shown.shape[0]
        ratios.append(float(distance_of_share(share, STANDING, 28.0, 24.0)[0]) / subject_m)
    # The mean body measures 1.692 m and the mean figure 1.72 m; bodies spread by 8 %/sqrt(3), a row is 1.5 %.
    assert np.mean(ratios) == pytest.approx(1.692 / 1.72, abs=0.03)
    assert np.max(np.abs(np.array(ratios) - 1.692 / 1.72)) < 0.13


def test_only_frames_with_a_share_and_without_a_typed_distance_are_placed_and_told():
    """Of four frames one has a share, one none, one a typed distance too, and one an unknown focal length."""
    pictures = table(
        camera=["body A"] * 4,
        pixel_width=6000,
        pixel_height=4000,
        sensor_width_mm=36.0,
        sensor_height_mm=24.0,
        sensor_source="session",
    )
    names = pictures["file"].tolist()
    index = FrameIndex(names, names, np.full(4, "body A", dtype=object), np.arange(4.0))
    free = np.array([True, True, False, True])
    focal = np.array([28.0, 28.0, 28.0, np.nan])
    shares = {"standing_share": np.array([0.5, np.nan, 0.5, 0.5])}
    claims = claim_shares(shares, free, pictures, focal, index)
    (claim,) = claims.stated
    assert claim.rows.tolist() == [0]
    assert claim.typed.tolist() == pytest.approx([4.0050], abs=1e-4)  # by hand above
    assert [problem.file for problem in claims.problems] == ["3"]
    assert claims.problems[0].what == "Its share gives no distance: the focal length is unknown."
    assert claim_shares({}, free, pictures, focal, index).stated == ()
