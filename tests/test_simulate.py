"""The simulator: its formulas against other sources, its files against another reader, its bytes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from auditor.errors import OutputError, SettingError
from auditor.optics.framing import standing_share
from auditor.simulate import Truth, simulate_archive, simulate_table
from auditor.simulate.pictures import SIZE_PX, View, draw_picture
from auditor.simulate.plan import expose
from auditor.simulate.truth import keep_chance, sharp_chance
from auditor.simulate.walk import burst_chance, round_as_people_do, walk

pytestmark = pytest.mark.slow

SEED, FRAMES = 7, 90


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    folder = tmp_path_factory.mktemp("invented") / "archive"
    simulate_archive(folder, SEED, FRAMES)
    return folder


def files_of(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


# --- formulas -----------------------------------------------------------------------------------------


def test_sharp_chance_is_the_log_logistic_survival():
    # Oracle: scipy's log-logistic (Fisk) distribution.
    from scipy.stats import fisk

    blur = np.array([0.001, 0.01, 0.03, 0.04, 0.06, 0.2, 5.0])
    assert_allclose(sharp_chance(blur, 0.04, 3.0), fisk.sf(blur, 3.0, scale=0.04), rtol=1e-12, atol=1e-15)


def test_keep_chance_is_the_moment_times_what_blur_leaves():
    from scipy.stats import fisk

    truth = Truth(tolerance_mm=0.04, keeping_forgives=1.5, steepness=3.0, ceiling=0.2, floor=0.1)
    blur = np.array([0.001, 0.03, 0.06, 0.2])
    left = 0.1 + 0.9 * fisk.sf(blur, 3.0, scale=0.06)
    assert_allclose(keep_chance(blur, truth.distance_median_m, 0.0, truth), 0.2 * left, rtol=1e-12)
    # Odds of 1/4 become 1/2 in a mood of log 2, and again where somebody stands nearer by e^(log 2 / 0.7).
    nearer = truth.distance_median_m / np.exp(np.log(2) / 0.7)
    assert_allclose(keep_chance(0.0, truth.distance_median_m, np.log(2), truth), 1 / 3, rtol=1e-12)
    assert_allclose(keep_chance(0.0, nearer, 0.0, truth), 1 / 3, rtol=1e-12)


@pytest.mark.parametrize("correlation", [0.0, 0.5, 0.9])
def test_burst_chance_is_one_minus_the_orthant_probability(correlation):
    # Oracle: scipy's multivariate normal distribution function (Genz's algorithm).
    from scipy.stats import multivariate_normal, norm

    chances = [0.3, 0.1, 0.25]
    cov = np.full((3, 3), correlation) + (1 - correlation) * np.eye(3)
    missed = multivariate_normal(np.zeros(3), cov).cdf(norm.isf(chances), rng=np.random.default_rng(0))
    found = burst_chance(np.array([0.2, *chances, 0.7]), np.array([0, 1, 1, 1, 2]), correlation)
    assert_allclose(found, [0.2, 1 - missed, 0.7], atol=2e-4)


@pytest.mark.parametrize(
    ("f_number", "exposure_time_s", "value"),
    # Rows of the exposure value table in the encyclopaedia article "Exposure value" (ISO 100).
    [(5.6, 1 / 125, 12), (8, 1 / 125, 13), (5.6, 1 / 250, 13), (8, 1 / 250, 14)],
)
def test_exposure_follows_the_published_table_of_exposure_values(f_number, exposure_time_s, value):
    # Six stops darker, ISO 6400 takes the place of ISO 100.
    time_s, iso = expose(np.array([value - 6.0]), np.array([float(f_number)]))
    assert_allclose((time_s[0], iso[0]), (exposure_time_s, 6400), rtol=1e-12)


def test_exposure_balances_to_a_third_of_a_stop():
    value, f_number = np.linspace(7.5, 15, 61), np.tile([5.6, 8.0, 11.0], 21)[:61]
    time_s, iso = expose(value, f_number)
    light = np.log2(f_number**2 / time_s) - np.log2(iso / 100)
    inside = (iso > 100) & (iso < 12800)
    assert inside.sum() > 40
    assert np.abs(light - value)[inside].max() <= 0.5 / 3 + 0.05  # nominal values lie up to 0.05 stops off


def test_guesses_are_rounded_to_what_people_say():
    assert_allclose(
        round_as_people_do(np.array([0.1, 1.44, 2.9, 3.88, 7.7, 12.4])), [0.5, 1.4, 3, 4, 7.5, 12]
    )


def test_figure_is_as_tall_as_its_distance_asks_for():
    # Pinhole model: distance = f (1 + X/x), X the body's height, x its image (any optics text).
    focal_m, image_m = 0.028, 0.5 * 0.024
    u = focal_m * (1 + 1.72 / image_m)
    from_sensor = u + focal_m * u / (u - focal_m)  # thin lens: image distance
    assert_allclose(standing_share(from_sensor, 28.0, 24.0, 1.72), 0.5, rtol=1e-12)

    def drawn(subject_m):
        view = View(28.0, 8.0, 9.028, subject_m, 0.0, 0.0, 0.0)
        return np.asarray(draw_picture(view, np.random.default_rng(3)), dtype=int)

    changed = np.abs(drawn(from_sensor) - drawn(1e6)).max(axis=2) > 8
    rows = np.flatnonzero(changed.any(axis=1))
    share = (rows[-1] - rows[0] + 1) / SIZE_PX[1]
    assert 0.5 * 0.9 < share < 0.5 * 1.1  # people are 8 % shorter or taller


def test_motion_blur_is_the_image_of_the_walk_across():
    # m v t with m = f/(u - f); for directions spread evenly |sin| has median 0.707 (arcsine law).
    presses = walk(Truth(speed_sd_m_s=0.0), 20_000, np.random.default_rng(8))
    focal_m, sensor_m = presses["focal_length_mm"] / 1000, presses["subject_m"]
    u = (sensor_m + np.sqrt(sensor_m**2 - 4 * focal_m * sensor_m)) / 2
    straight = focal_m / (u - focal_m) * 1320 * presses["exposure_time_s"]
    share = (presses["motion_mm"] / straight).groupby(presses["burst"]).first()
    assert_allclose((share.max(), share.median()), (1.0, 0.5**0.5), rtol=0.02)
    airy = 2.44 * 550e-6 * presses["f_number"] * (1 + focal_m / (u - focal_m))  # first zero, any optics text
    assert_allclose(
        presses["blur_mm"] ** 2, presses["defocus_mm"] ** 2 + presses["motion_mm"] ** 2 + airy**2, rtol=2e-3
    )


# --- table ---------------------------------------------------------------------------------------------


def test_keepers_come_as_often_as_the_truth_says():
    table, truth = simulate_table(1, 40_000)
    kept_bursts = table.groupby("burst").agg(kept=("true_kept", "any"), preset=("preset", "first"))
    for preset in truth.presets:
        frames = table[table["preset"] == preset.name]
        assert len(frames) == preset.frames
        hits = kept_bursts[kept_bursts["preset"] == preset.name]["kept"]
        assert len(hits) == preset.bursts
        # Six standard errors of a proportion; 1.6 for frames alike within bursts.
        for seen, rate, n in (
            (hits.mean(), preset.hit_rate, len(hits)),
            (frames["true_kept"].mean(), preset.frame_rate, len(frames) / 1.6),
        ):
            assert abs(seen - rate) < 6 * np.sqrt(rate * (1 - rate) / n)


def test_people_are_met_and_judged_as_stated():
    from auditor.simulate.truth import MARKET_OUTINGS

    # Presses at any distance, everything noted: the distances met are the log-normal that is stated.
    truth = Truth(press_outside=1.0, outings=tuple(replace(o, measured=1.0) for o in MARKET_OUTINGS))
    table, _ = simulate_table(2, 30_000, truth)
    free = table[table["preset"] != "gate"]
    met = np.log(free.drop_duplicates("burst")["true_subject_distance_m"])
    assert_allclose((np.exp(met.median()), met.std()), (2.6, 0.45), rtol=0.02)
    error = np.log(table["subject_distance_m"] / table["true_subject_distance_m"])
    assert_allclose((error.mean(), error.std()), (0, 0.08), atol=0.004)
    line = table[table["preset"] == "gate"].drop_duplicates("burst")["true_subject_distance_m"]
    assert_allclose((line.mean(), line.std()), (3.0, truth.line_spread_m), rtol=0.05)
    ring = table["true_focus_distance_m"] / table["preset"].map(
        {preset.name: preset.focus_distance_m for preset in truth.presets}
    )
    assert_allclose(ring.groupby(table["session"]).mean().std(), 0.03 / np.sqrt(3.3), rtol=0.25)


def test_photographers_press_mostly_inside_the_zone():
    truth = Truth(outings=tuple(replace(o, measured=1.0) for o in Truth().outings))
    table, _ = simulate_table(3, 20_000, truth)
    everyone, _ = simulate_table(3, 20_000, replace(truth, press_outside=1.0))
    inside, anywhere = table["in_zone"].mean(), everyone["in_zone"].mean()
    assert inside > anywhere + 0.1
    assert inside < 0.97


def test_distances_are_measured_whatever_the_mark():
    table, _ = simulate_table(4, 40_000)
    measured = table["subject_distance_m"].notna()
    by_mark = measured.groupby([table["session"] % 3, table["true_kept"]]).mean().unstack()
    assert_allclose(by_mark[True], by_mark[False], atol=0.03)


def test_verdicts_follow_the_blur_but_for_lapses():
    truth = Truth(lapses=0.05, outings=tuple(replace(o, measured=1.0) for o in Truth().outings))
    presses = walk(truth, 30_000, np.random.default_rng(9))
    told = presses[presses["sharp"].isin(["yes", "no"])]
    expected = 0.05 + 0.9 * told["sharp_chance"]
    for low in (0.0, 0.2, 0.5, 0.8):
        own = told[told["sharp_chance"].between(low, low + 0.2)]
        rate = expected[own.index].mean()
        error = np.sqrt(rate * (1 - rate) / len(own))
        assert abs((own["sharp"] == "yes").mean() - rate) < 5 * error
    guess = np.log(presses["guessed_m"] / presses["subject_m"])
    assert_allclose((guess.mean(), guess.std()), (np.log(0.92), 0.16), atol=0.01)


def test_one_kind_of_walk_keeps_about_three_of_a_hundred():
    table, _ = simulate_table(8, 60_000)
    kept = table["true_kept"].groupby(table["session"] % 3).mean()
    assert 0.02 < kept.min() < 0.045
    assert kept.max() < 0.2


def test_the_bursts_of_the_simulation_are_those_of_the_audit():
    from auditor.evidence.presets import number_bursts

    table, _ = simulate_table(5, 20_000)
    assert (number_bursts(table)["burst"] == table["burst"]).all()


def test_simulated_table_has_the_contract_first_and_only_counts_what_was_looked_at():
    from auditor.frames import COLUMNS

    table, _ = simulate_table(6, 600)
    assert list(table.columns[: len(COLUMNS)]) == list(COLUMNS)
    assert (table["counted_as"] == "left out").equals(table["keeper"].isna())
    seen = table["keeper"].notna()
    assert (table["keeper"][seen] == "yes").equals(table["true_kept"][seen])
    assert 0.05 < (~seen).mean() < 0.15


# --- archive -------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_same_seed_same_bytes(archive, tmp_path):
    simulate_archive(tmp_path / "again", SEED, FRAMES)
    assert files_of(tmp_path / "again") == files_of(archive)
    simulate_archive(tmp_path / "other", SEED + 1, FRAMES)
    assert files_of(tmp_path / "other") != files_of(archive)


@pytest.mark.slow
def test_archive_reads_back_as_the_table(archive):
    from auditor.journey import run_scan
    from auditor.settings import Request

    read = run_scan(Request((archive,), workers=1)).archive.table.set_index("file")
    palms = [name for name in read.index if name not in set(simulate_table(SEED, FRAMES)[0]["file"])]
    read = read.drop(index=palms)  # the palm over the lens is no frame of the walk
    made = simulate_table(SEED, FRAMES)[0].set_index("file")
    assert sorted(read.index) == sorted(made.index)
    read = read.loc[made.index]
    for column in ("session", "burst", "captured_at", "camera", "lens", "preset", "has_subseconds"):
        assert read[column].tolist() == made[column].tolist(), column
    for column in (
        "focal_length_mm", "f_number", "exposure_time_s", "iso", "focus_distance_m", "sensor_width_mm",
        "subject_distance_m", "near_limit_m", "blur_mm",
    ):  # fmt: skip
        assert_allclose(read[column], made[column], rtol=1e-6, err_msg=column)
    stated = read["keeper"].notna()
    assert (read["keeper"][stated] == made["keeper"][stated]).all()
    assert (read["keeper"] == "yes").tolist() == (made["keeper"] == "yes").tolist()


@pytest.mark.slow
def test_a_palm_over_the_lens_marks_each_change_of_preset(archive):
    import tomllib

    from PIL import Image

    folders = sorted(archive.glob("*adapted*"))
    assert folders
    for folder in folders:
        told = tomllib.loads((folder / "session.toml").read_text("utf-8"))
        starts = [stretch["from"] for stretch in told["stretch"]]
        palms = told["marks"]["markers"]
        assert [f"{palm[:-4]}{int(palm[-4:]) + 1:04d}" for palm in palms] == starts[1:]
        for palm in palms:
            with Image.open(folder / f"{palm}.jpg") as picture:
                assert np.asarray(picture.convert("L")).mean() < 12


def test_another_reader_finds_the_same_in_the_files(archive):
    # Oracle: exiv2, by its Python binding.
    pyexiv2 = pytest.importorskip("pyexiv2")
    table = simulate_table(SEED, FRAMES)[0]
    rated = 0
    for row in table[table["session"] == 1].itertuples():
        with pyexiv2.Image(str(archive / row.file)) as image:
            exif, xmp = image.read_exif(), image.read_xmp()
        assert exif["Exif.Image.Model"] == "body A"
        assert exif["Exif.Photo.LensModel"] == "28 mm f/2.8"
        top, bottom = map(int, exif["Exif.Photo.SubjectDistance"].split("/"))
        assert top / bottom == pytest.approx(row.focus_distance_m, abs=1e-9)
        top, bottom = map(int, exif["Exif.Photo.FNumber"].split("/"))
        assert top / bottom == pytest.approx(row.f_number, abs=1e-9)
        taken = exif["Exif.Photo.DateTimeOriginal"].replace(":", "-", 2)
        assert (
            f"{taken}.{exif['Exif.Photo.SubSecTimeOriginal']}"
            == f"{row.captured_at:%Y-%m-%d %H:%M:%S.%f}"[:-4]
        )
        rating = float(xmp.get("Xmp.xmp.Rating", 0))
        assert (rating >= 1) == (row.keeper == "yes")
        rated += rating >= 1
    assert rated


def test_adapted_lens_tells_nothing(archive):
    from PIL import Image

    first = next(iter(sorted((archive / "2031-04-12-adapted-lens").glob("*.jpg"))))
    with Image.open(first) as picture:
        assert picture.size == SIZE_PX
        tags = picture.getexif().get_ifd(0x8769)
    assert sorted(tags) == [
        0x829A,
        0x8827,
        0x9000,
        0x9003,
    ]  # time, ISO, version, date: no lens, no sub-seconds


def test_nothing_is_written_over(tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(OutputError, match="not empty"):
        simulate_archive(tmp_path, 1, 60)
    assert files_of(tmp_path) == {"mine.txt": b"mine"}


def test_too_few_frames_are_refused(tmp_path):
    with pytest.raises(SettingError, match="too few"):
        simulate_archive(tmp_path / "none", 1, 5)
    assert not (tmp_path / "none").exists()


# --- command -------------------------------------------------------------------------------------------


def run(*words):
    from typer.testing import CliRunner

    from auditor.cli import make_app

    return CliRunner().invoke(make_app(), ["simulate", *map(str, words)])


@pytest.mark.slow
def test_command_writes_the_same_archive(archive, tmp_path):
    result = run("--out", tmp_path / "new", "--seed", SEED, "--frames", FRAMES)
    assert result.exit_code == 0
    assert result.stdout == ""
    assert "truth.toml" in result.stderr
    assert files_of(tmp_path / "new") == files_of(archive)


def test_command_refuses_a_folder_in_use(archive):
    before = files_of(archive)
    result = run("--out", archive)
    assert result.exit_code == 1
    assert "not empty" in result.stderr
    assert files_of(archive) == before


def test_command_writes_the_table_alone(archive, tmp_path):

    assert run("--out", tmp_path / "t", "--seed", SEED, "--frames", FRAMES, "--table").exit_code == 0
    assert sorted(files_of(tmp_path / "t")) == ["frames.csv", "truth.toml"]
    assert (tmp_path / "t" / "truth.toml").read_bytes() == (archive / "truth.toml").read_bytes()
    header, first = (tmp_path / "t" / "frames.csv").read_text().splitlines()[:2]
    assert header.startswith("file,files,session,burst,captured_at")
    assert first.startswith("2031-04-05-reporting-lens/WALK")
