"""Shares of responsibility, by hand and by law."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from worlds.archives import SPEED_M_S, World, blur_parts_mm, draw_archive, keep_chance

from auditor.advice.this_walk import telling_frames
from auditor.evidence.bursts import count_frames
from auditor.evidence.causes import CAUSES, find_causes
from auditor.evidence.tolerance import fit_tolerance
from auditor.optics.blur import airy_mm, defocus_mm, motion_mm
from auditor.optics.lens import lens_distance_m, magnification
from auditor.settings import Settings

SETTINGS = Settings(guess_sd=0.12, speed_m_s=1.3)


@pytest.fixture(scope="module")
def archive():
    table, truth = draw_archive(np.random.default_rng(12), World("x", bursts="alike"), 500)
    return table, truth, fit_tolerance(table, SETTINGS)


def test_shares_add_up(archive):
    table, _, tolerance = archive
    table = table.assign(subject_distance_m=table["subject_distance_m"].where(table.index % 7 > 0))
    table = table.assign(blur_mm=table["blur_mm"].where(table.index % 7 > 0))
    causes = find_causes(count_frames(table), SETTINGS, tolerance)
    not_kept = int((table["counted_as"] == "not kept").sum())
    total = causes.table["frames"].sum() + causes.no_distance
    assert_allclose(total, not_kept, rtol=1e-9)
    assert_allclose(causes.frames[list(CAUSES)].sum(axis=1), 1, rtol=1e-9)
    assert (causes.frames[list(CAUSES)].to_numpy() >= -1e-12).all()
    assert causes.no_distance > 0
    summed = causes.table
    assert (summed["low"] <= summed["of_100"]).all()
    assert (summed["of_100"] <= summed["high"]).all()
    assert_allclose(summed["of_100"].sum(), 100, rtol=1e-9)


def test_the_presets_shares_are_parts_of_the_whole_and_point_to_their_own_cause(archive):
    """Of two presets one is focused far behind its subjects and one far in front of them."""
    table, _, tolerance = archive
    names = sorted(table["preset"].dropna().unique())
    whole = find_causes(count_frames(table), SETTINGS, tolerance)
    parts = whole.by_preset
    assert parts["not_kept"].sum() == len(whole.frames)
    for cause in CAUSES:
        assert_allclose(parts[cause].sum(), whole.table.loc[cause, "frames"], rtol=1e-9)
        assert (parts[f"{cause}_low"] <= parts[cause]).all()
        assert (parts[cause] <= parts[f"{cause}_high"]).all()
    assert_allclose(parts[list(CAUSES)].sum(axis=1), parts["not_kept"], rtol=1e-9)
    assert set(parts["preset"]) <= set(names)
    near, far = table["preset"] == names[0], table["preset"] == names[1]
    moved = table.assign(focus_distance_m=table["focus_distance_m"].mask(near, 1.0).mask(far, 50.0))
    own = find_causes(count_frames(moved[near | far].reset_index(drop=True)), SETTINGS, tolerance).by_preset
    own = own.set_index("preset")
    assert own.loc[names[0], "beyond_zone"] > 10 * own.loc[names[0], "in_front_of_zone"]
    assert own.loc[names[1], "in_front_of_zone"] > 10 * own.loc[names[1], "beyond_zone"]


def test_one_frame_by_hand(archive):
    """Certain distance, still subject, one curve: (ceiling - P)/(1 - P), shared by who takes what of F.

    With two causes the mean over both orders is half of what each takes alone and half of what it takes last.
    """
    table, _, tolerance = archive
    one = replace(tolerance, draws=tolerance.draws[:1])
    frame = table[(table["counted_as"] == "not kept") & (table["subject_distance_m"] > 4)].iloc[:1]
    frame = frame.assign(subject_distance_rel_sd=0.0, burst=999_999)
    causes = find_causes(count_frames(frame.reset_index(drop=True)), SETTINGS.changed(speed_m_s=0.0), one)
    row = frame.iloc[0]
    lens = row["focal_length_mm"], row["f_number"], row["focus_distance_m"], row["subject_distance_m"]
    defocus = float(defocus_mm(*lens))
    size = magnification(
        lens_distance_m(row["subject_distance_m"], row["focal_length_mm"]), row["focal_length_mm"]
    )
    diffraction = float(airy_mm(row["f_number"], size))
    mm, steepness, ceiling, floor = one.draws[0]

    def left(blur):
        return 1 / (1 + (blur / mm) ** steepness)

    whole = left(np.hypot(defocus, diffraction))
    p = floor + (ceiling - floor) * whole
    explained = (ceiling - p) / (1 - p)
    by_defocus = ((1 - left(defocus)) + (left(diffraction) - whole)) / 2 / (1 - whole)
    side = "beyond_zone" if row["subject_distance_m"] > row["focus_distance_m"] else "in_front_of_zone"
    assert_allclose(causes.table["frames"][side], explained * by_defocus, rtol=0.03)
    assert_allclose(causes.table["frames"]["diffraction"], explained * (1 - by_defocus), rtol=0.08)
    assert_allclose(causes.table["frames"]["not_explained_by_blur"], (1 - ceiling) / (1 - p), rtol=0.01)
    assert causes.table["frames"]["subject_motion"] == pytest.approx(0, abs=1e-9)


def test_movement_under_a_flash_is_that_of_its_duration(archive):
    """Lit for 1/60 s a walker's frame is lost to movement; of an unknown flash nobody knows, so to none."""
    table, _, tolerance = archive
    rows = (table["counted_as"] == "not kept") & table["subject_distance_m"].between(2, 4)
    still = table.assign(exposure_time_s=table["exposure_time_s"].mask(rows, 1 / 4000))
    slow = table.assign(exposure_time_s=table["exposure_time_s"].mask(rows, 1 / 60))
    lit = slow.assign(flash=rows.astype("boolean"), flash_duration_s=np.where(rows, 1 / 4000, np.nan))
    unknown = lit.assign(flash_duration_s=np.nan)

    def lost(frames):
        found = find_causes(count_frames(frames), SETTINGS, tolerance)
        return found.table["frames"]["subject_motion"], found.at_focus["motion_over_criterion"]

    assert lost(lit) == pytest.approx(lost(still), rel=1e-9)
    assert lost(unknown)[0] < lost(still)[0] < lost(slow)[0] / 2
    assert lost(unknown)[1] <= lost(still)[1] < lost(slow)[1]


def test_siblings_of_a_keeper_are_not_blamed_on_blur(archive):
    table, _, tolerance = archive
    causes = find_causes(count_frames(table), SETTINGS, tolerance)
    kept = table["counted_as"] == "keeper"
    of_hit = table["burst"].isin(table.loc[kept, "burst"]) & ~kept
    assert causes.sibling_kept == int(of_hit.sum()) > 0
    named = causes.frames.set_index("file").loc[table.loc[of_hit, "file"], "not_explained_by_blur"]
    assert_allclose(named, 1.0, rtol=1e-12)


def test_a_frame_that_was_judged_follows_its_verdict(archive):
    """Judged sharp: blur explains nothing. Judged soft: all that the curve can lose, whatever the blur."""
    table, _, tolerance = archive
    alone = ~table["burst"].isin(table.loc[table["counted_as"] == "keeper", "burst"])
    rows = table.index[alone & table["blur_mm"].notna()]
    judged = table.assign(sharp=pd.Series("yes", rows[::2]).reindex(table.index).astype("str"))
    judged.loc[rows[1::2], "sharp"] = "no"
    causes = find_causes(count_frames(judged), SETTINGS, tolerance).frames.set_index("file")
    sharp, soft = (causes.loc[table.loc[some, "file"]] for some in (rows[::2], rows[1::2]))
    assert_allclose(sharp["not_explained_by_blur"], 1.0, rtol=1e-12)
    ceiling, floor = tolerance.draws[::10, 2:].T
    assert_allclose(soft["not_explained_by_blur"], 1 - ((ceiling - floor) / (1 - floor)).mean(), rtol=1e-9)


@pytest.mark.slow
def test_totals_come_near_the_truth():
    """Of simulated frames not kept, the part that the true curve lays on blur lies within the interval."""
    held = 0
    for seed in range(6):
        world = World("x", guess_sd=0.0)
        table, truth = draw_archive(np.random.default_rng([4, seed]), world, 1200)
        tolerance = fit_tolerance(table, SETTINGS)
        causes = find_causes(count_frames(table), SETTINGS, tolerance)
        lost = table[table["counted_as"] == "not kept"]
        columns = ("focal_length_mm", "f_number", "focus_distance_m", "subject_distance_m", "exposure_time_s")
        crossing = np.sin((np.arange(12) + 0.5) / 12 * np.pi / 2)
        parts = blur_parts_mm(*(lost[name].to_numpy()[:, None] for name in columns), SPEED_M_S, crossing)
        chance = keep_chance(world, truth, np.sqrt(sum(part**2 for part in parts)))
        unexplained = ((1 - truth.ceiling) / (1 - chance).mean(axis=1)).sum()
        row = causes.table.loc["not_explained_by_blur"]
        held += row["low"] <= 100 * unexplained / len(lost) <= row["high"]
    assert held >= 4


def test_without_a_fit(frame_table):
    table = frame_table([0, 0, 1], focal_length_mm=50.0, f_number=8.0, focus_distance_m=2.5, coc_mm=0.03,
                        exposure_time_s=[1 / 60, 1 / 2000, 1 / 60])  # fmt: skip
    tolerance = fit_tolerance(table, Settings())
    causes = find_causes(count_frames(table), Settings(), tolerance)
    assert causes.table.isna().all(axis=None)
    assert causes.no_distance == 2
    slow = float(motion_mm(50.0, 2.5, 1.32, 1 / 60))
    assert slow > 0.03
    assert causes.at_focus == {"frames": 2, "motion_over_criterion": 1, "diffraction_over_criterion": 0}
    assert telling_frames(count_frames(table).blurred, tolerance, causes).empty


def test_telling_frames_are_one_of_each_kind(archive):
    table, _, tolerance = archive
    causes = find_causes(count_frames(table), SETTINGS, tolerance)
    telling = telling_frames(count_frames(table).blurred, tolerance, causes).set_index("why")
    assert 4 <= len(telling) <= 6
    assert telling.index.is_unique
    rows = table.set_index("file").loc[telling["file"]]
    assert rows["burst"].is_unique
    kept = (rows["counted_as"] == "keeper").to_numpy()
    assert (kept == (telling.index == "kept_though_blurred")).all()
    assert telling["blur_mm"]["not_kept_though_sharp"] <= tolerance.eye.blur_mm
    assert telling["blur_mm"]["kept_though_blurred"] > tolerance.eye.blur_mm
    assert (
        telling["blur_mm"][[name for name in telling.index if name in CAUSES]] > tolerance.eye.blur_mm
    ).all()
    bears_all = replace(
        tolerance, sharp=replace(tolerance.sharp, blur_mm=9.0), keep=replace(tolerance.keep, blur_mm=9.0)
    )
    none = telling_frames(count_frames(table).blurred, bears_all, causes)
    assert set(none["why"]) == {"not_kept_though_sharp"}, "no cause where no blur is above what is borne"
    lost = causes.frames.set_index("file").loc[telling["file"].iloc[0]]
    assert (
        lost[telling.index[0]]
        == lost[["in_front_of_zone", "beyond_zone", "subject_motion", "diffraction"]].max()
    )


def test_many_frames_are_reckoned_in_parts_and_drawn_beyond_a_number(archive, monkeypatch):
    table, _, tolerance = archive
    whole = find_causes(count_frames(table), SETTINGS, tolerance)
    lost = len(whole.frames)
    monkeypatch.setattr("auditor.evidence.causes.BLOCK", 100)
    assert_allclose(find_causes(count_frames(table), SETTINGS, tolerance).table, whole.table, rtol=1e-9)
    monkeypatch.setattr("auditor.evidence.causes.MOST_FRAMES", lost)
    assert_allclose(find_causes(count_frames(table), SETTINGS, tolerance).table, whole.table, rtol=1e-9)
    monkeypatch.setattr("auditor.evidence.causes.MOST_FRAMES", lost // 2)
    drawn = find_causes(count_frames(table), SETTINGS, tolerance)
    assert len(drawn.frames) == lost // 2
    assert drawn.table["frames"].sum() == pytest.approx(lost)
    assert drawn.by_preset["not_kept"].sum() == pytest.approx(lost, abs=2)
    assert_allclose(drawn.table["of_100"], whole.table["of_100"], atol=5)
    assert (drawn.sibling_kept, drawn.no_distance) == (whole.sibling_kept, whole.no_distance)


def test_shares_of_100_frames_are_weighed_by_the_frames_that_each_stands_for(archive):
    table, _, tolerance = archive
    weight = np.where(np.arange(len(table)) % 3 == 0, 5.0, 1.0)
    found = find_causes(count_frames(table.assign(sample_weight=weight)), SETTINGS, tolerance)
    own = pd.Series(weight, table["file"]).loc[found.frames["file"]].to_numpy()
    wanted = 100 * (found.frames[list(CAUSES)].to_numpy() * own[:, None]).sum(axis=0) / own.sum()
    assert_allclose(found.table["of_100"], wanted, rtol=1e-9)
    for nothing in (0.0, -1.0):
        plain = find_causes(count_frames(table.assign(sample_weight=nothing)), SETTINGS, tolerance)
        shares = plain.frames[list(CAUSES)].mean() * 100
        assert_allclose(plain.table["of_100"], shares, rtol=1e-9)


def test_the_interval_leaves_as_much_of_the_curves_at_either_end(archive):
    """Of frames judged soft each curve explains (ceiling - floor) / (1 - floor): 40 curves, evenly taken."""
    table, _, tolerance = archive
    draws = tolerance.draws[:1].repeat(200, axis=0)
    draws[:, 2], draws[:, 3] = np.linspace(0.1, 0.9, 200) ** 2, 0.02
    soft = table.assign(sharp="no", burst=np.arange(len(table)))
    some = replace(tolerance, draws=draws)
    found = find_causes(count_frames(soft), SETTINGS.changed(confidence=0.8), some)
    each = 100 * (1 - (draws[::5, 2] - 0.02) / 0.98)
    row = found.table.loc["not_explained_by_blur"]
    assert_allclose(row["of_100"], np.mean(each), rtol=1e-9)
    assert_allclose([row["low"], row["high"]], np.quantile(each, [0.1, 0.9]), rtol=1e-9)
    own = found.by_preset.iloc[0]
    ends = own[["not_explained_by_blur_low", "not_explained_by_blur_high"]].tolist()
    assert_allclose(np.array(ends) / own["not_kept"], np.quantile(each, [0.1, 0.9]) / 100, rtol=1e-9)


def test_movement_and_diffraction_of_just_the_criterion_do_not_exceed_it(frame_table):
    motion = float(motion_mm(50.0, 2.5, 1.32, 1 / 60))
    airy = float(airy_mm(8.0, magnification(lens_distance_m(2.5, 50.0), 50.0)))
    limits = [motion, np.nextafter(motion, 0), airy, np.nextafter(airy, 0), np.nan]
    table = frame_table([0] * 5, focal_length_mm=50.0, f_number=8.0, focus_distance_m=2.5, coc_mm=limits,
                        exposure_time_s=[1 / 60, 1 / 60, 1 / 8000, 1 / 8000, 1 / 60])  # fmt: skip
    found = find_causes(count_frames(table), Settings(), fit_tolerance(table, Settings())).at_focus
    assert found == {"frames": 4, "motion_over_criterion": 1, "diffraction_over_criterion": 1}


def test_a_guess_that_states_no_error_has_the_usual_one(archive):
    """And the side of the ring on which a subject stood is as sure as its distance."""
    table, _, tolerance = archive
    usual, stated = (
        find_causes(count_frames(table.assign(subject_distance_rel_sd=sd)), SETTINGS, tolerance).table
        for sd in (np.nan, SETTINGS.guess_sd)
    )
    assert_allclose(usual, stated, rtol=1e-12)
    below = find_causes(count_frames(table.assign(subject_distance_rel_sd=-1.0)), SETTINGS, tolerance).table
    assert_allclose(below, stated, rtol=1e-12)
    known = find_causes(count_frames(table.assign(subject_distance_rel_sd=0.0)), SETTINGS, tolerance)
    sides = known.frames[["in_front_of_zone", "beyond_zone"]].to_numpy()
    assert (sides.min(axis=1) < 1e-9).all()
    assert not np.allclose(known.table, stated, rtol=0.01)


@pytest.mark.parametrize("ceiling", [0.0, np.nan])
def test_without_a_keeper_or_a_weight_no_curve_explains_anything(archive, ceiling):
    table, _, tolerance = archive
    draws = tolerance.draws.copy()
    draws[:, 2:] = ceiling
    found = find_causes(count_frames(table), SETTINGS, replace(tolerance, draws=draws))
    assert found.table.isna().all(axis=None)
    assert found.frames.empty
    assert found.by_preset.empty
    assert found.at_focus["frames"] > 0


def test_where_every_frame_was_kept_there_is_nothing_to_explain(archive):
    table, _, tolerance = archive
    found = find_causes(count_frames(table.assign(counted_as="keeper")), SETTINGS, tolerance)
    assert found.table.isna().all(axis=None)
    assert (found.no_distance, found.at_focus["frames"]) == (0, 0)
