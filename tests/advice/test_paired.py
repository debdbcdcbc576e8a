"""Settings tried on the subjects met, against plain counting."""

from dataclasses import replace

import numpy as np
import pytest
from worlds.people import HANDBOOK_MM, World, blur_mm, draw_archive

from auditor.advice import paired as comparisons
from auditor.advice.at_another_stop import LightAnswer, light_answers, times_at
from auditor.advice.paired import MOST_SUBJECTS, Setting, _at_most, _cases, compare_settings, tried_there
from auditor.advice.valued import _median_exposure, best_by_stop, lost_to_causes, value_settings
from auditor.evidence.blur_tolerance import DRAWS, fit_tolerances
from auditor.evidence.level import fit_level
from auditor.evidence.subjects import frames_met, gather_subjects
from auditor.optics.ring_check import true_focus_m
from auditor.settings import Settings

STOPS = np.array([4.0, 5.6, 8.0, 8.0, 11.0])
RINGS = np.array([2.0, 3.0, 2.5, 5.0, np.inf])
AS_IS = (LightAnswer(100, 6400, 1 / 250, 1.0),)


@pytest.fixture(scope="module")
def exact():
    """Subjects without any error who stand still, and a tolerance known exactly: a step at 0.04 mm."""
    archive = draw_archive(3, World(frames=900, distances=500, known=True, still=True))
    subjects = gather_subjects(frames_met(archive.table), Settings())
    subjects = replace(
        subjects,
        log_m=subjects.stated_log_m,
        log_sd=np.zeros(len(subjects)),
        error_sd=np.zeros(len(subjects)),
    )
    subjects = subjects.chosen(np.arange(len(subjects)) < 350)
    tolerance = fit_tolerances(subjects.chosen(np.zeros(len(subjects), bool)), 0.0)[0]
    known = replace(
        tolerance, log_sharp=np.full(DRAWS, np.log(0.04 / HANDBOOK_MM)), kappa=np.full(DRAWS, 60.0),
        walking=np.zeros(DRAWS),
    )  # fmt: skip
    return subjects, known


def counted(subjects, number, ring):
    """Weighted share of subjects whose blur stays below 0.04 mm, counted one by one."""
    blur = [
        blur_mm(f, number, ring, d, 0.0, 0.0, 0.0)
        if np.isfinite(ring)
        else np.hypot(1000 * (f / 1000) ** 2 / (number * lens_m(d, f)), 2.4393 * 550e-6 * number)
        for f, d in zip(subjects.focal_length_mm, np.exp(subjects.log_m), strict=True)
    ]
    return float(subjects.weight @ (np.array(blur) < 0.04) / subjects.weight.sum())


def lens_m(distance, focal_mm):
    f = focal_mm / 1000
    return (distance + np.sqrt(distance**2 - 4 * f * distance)) / 2


def test_with_nothing_uncertain_it_is_plain_counting(exact):
    subjects, known = exact
    paired = compare_settings(subjects, known, STOPS, RINGS, AS_IS, 0.0)
    plain = [counted(subjects, n, s) for n, s in zip(STOPS, RINGS, strict=True)]
    assert paired.share == pytest.approx(plain, abs=0.02)
    now = [
        blur_mm(f, n, s, d, 0.0, 0.0, 0.0) < 0.04
        for f, n, s, d in zip(subjects.focal_length_mm, subjects.f_number, subjects.focus_distance_m,
                              np.exp(subjects.log_m), strict=True)
    ]  # fmt: skip
    assert paired.now == pytest.approx(subjects.weight @ np.array(now) / subjects.weight.sum(), abs=0.02)
    assert (paired.low <= plain).all()
    assert (paired.high >= plain).all()
    assert paired.gain == pytest.approx(paired.share / paired.now)
    assert (paired.gain_low < paired.gain).all()
    assert (paired.gain < paired.gain_high).all()


def test_the_exposure_at_another_stop_keeps_the_light_by_hand(exact):
    """ISO 400 and 1/250 s at f/8: at f/11 the light through the lens is (8 / 11)² of it, so ISO 756."""
    subjects, _ = exact
    n = len(subjects)
    alike = replace(
        subjects, f_number=np.full(n, 8.0), iso=np.full(n, 400.0), exposure_time_s=np.full(n, 1 / 250)
    )
    time_s, iso = _median_exposure(alike, 11.0, AS_IS[0])
    assert (time_s, iso) == pytest.approx((1 / 250, 400 * (11 / 8) ** 2))


def test_of_more_subjects_than_are_put_through_those_drawn_speak_for_all(exact):
    """Each stands for as much weight; the shares of lenses, rings and distances stay as they were."""
    few, _ = exact
    many = few.chosen(np.arange(4 * MOST_SUBJECTS) % len(few))
    many = replace(many, weight=np.random.default_rng(2).gamma(2, 1, len(many)))
    drawn = _at_most(many, np.random.default_rng(3))
    assert len(drawn) == MOST_SUBJECTS
    assert drawn.weight.sum() == pytest.approx(many.weight.sum())
    for name in ("log_m", "focus_distance_m", "f_number"):
        wanted = many.weight @ getattr(many, name) / many.weight.sum()
        assert drawn.weight @ getattr(drawn, name) / drawn.weight.sum() == pytest.approx(wanted, rel=0.06)
    assert _at_most(few, np.random.default_rng(3)) is few


def test_of_every_part_of_the_weight_one_subject_is_drawn(exact, monkeypatch):
    """Eight subjects of weight 1 and four to be drawn: one of each two; then one as heavy as all others."""
    monkeypatch.setattr(comparisons, "MOST_SUBJECTS", 4)
    eight = replace(exact[0].chosen(np.arange(8)), weight=np.ones(8), session=np.arange(8))
    heavy = replace(eight, weight=np.r_[np.full(7, 1 / 7), 1.0])
    for seed in range(9):
        assert (_at_most(eight, np.random.default_rng(seed)).session // 2).tolist() == [0, 1, 2, 3]
        assert _at_most(heavy, np.random.default_rng(seed)).session[2:].tolist() == [7, 7]


def test_the_interval_is_that_of_the_weighted_share(exact):
    """The bootstrap's spread against the linearised variance of a Hajek share (Cochran 1977, 6.3)."""
    subjects, known = exact
    paired = compare_settings(subjects, known, STOPS, RINGS, AS_IS, 0.0)
    weight = subjects.weight / subjects.weight.sum()
    both = zip(subjects.focal_length_mm, np.exp(subjects.log_m), strict=True)
    sharp = np.array([blur_mm(f, 8.0, 2.5, d, 0.0, 0.0, 0.0) < 0.04 for f, d in both])
    sd = np.sqrt((weight**2 * (sharp - weight @ sharp) ** 2).sum())
    assert paired.draws[2].std() == pytest.approx(sd, rel=0.15)


def test_the_same_setting_gains_nothing_and_a_wrong_one_loses(exact):
    subjects, known = exact
    one = subjects.chosen(subjects.preset == 0)
    own = Setting(float(one.f_number[0]), float(one.focus_distance_m[0]))
    paired = compare_settings(
        one, known, np.array([own.f_number, 2.8]), np.array([own.focus_distance_m, 0.7]), AS_IS, 0.0
    )
    assert paired.gain[0] == pytest.approx(1.0, abs=1e-6)
    ends = np.log([paired.gain_low[0], paired.gain_high[0]])
    assert ends == pytest.approx([-1.96 * 0.03, 1.96 * 0.03], rel=0.25), "the model's own discrepancy"
    assert paired.chance_better[0] == pytest.approx(0.5, abs=0.01)
    assert paired.chance_better[1] < 0.01
    mixed = compare_settings(
        one, known, np.array([2.8]), np.array([0.7]), AS_IS, 0.0, habit=((own, 1.0),),
    )  # fmt: skip
    assert mixed.now == pytest.approx(paired.now, abs=1e-6)


def test_motion_takes_what_a_slower_time_costs(exact):
    subjects, known = exact
    walking = replace(known, walking=np.ones(DRAWS))
    kept_iso = (LightAnswer(800, 800, 1 / 250, 1.0),)
    args = (np.array([16.0]), np.array([2.5]))
    still = compare_settings(subjects, known, *args, kept_iso, 1.32)
    moving = compare_settings(subjects, walking, *args, kept_iso, 1.32)
    stopped = compare_settings(subjects, walking, *args, kept_iso, 0.0)
    assert moving.share[0] < still.share[0] - 0.1
    assert stopped.share[0] == pytest.approx(still.share[0], abs=1e-6)
    quarter = compare_settings(subjects, replace(known, walking=np.full(DRAWS, 0.25)), *args, kept_iso, 1.32)
    assert quarter.share[0] == pytest.approx(0.75 * still.share[0] + 0.25 * moving.share[0], abs=0.01)


def test_nothing_is_inferred_from_flash(exact):
    subjects, known = exact
    lit = replace(subjects, flash_s=np.full(len(subjects), np.nan), ev=np.full(len(subjects), np.nan))
    walking = replace(known, walking=np.ones(DRAWS))
    args = (np.array([16.0]), np.array([2.5]), (LightAnswer(800, 800, 1 / 250, 1.0),), 1.32)
    assert compare_settings(lit, walking, *args).share == pytest.approx(
        compare_settings(subjects, known, *args).share, abs=1e-6
    )
    assert times_at(lit, 16.0, args[2][0]).tolist() == lit.exposure_time_s.tolist()
    sixtieth = np.full(len(subjects), 1 / 60)
    stated = replace(lit, flash_s=sixtieth, exposure_time_s=2 * sixtieth)
    as_long = replace(stated, flash_s=np.full(len(subjects), np.inf), exposure_time_s=sixtieth)
    assert compare_settings(stated, walking, *args).share == pytest.approx(
        compare_settings(as_long, walking, *args).share, abs=1e-6
    )
    assert compare_settings(stated, walking, *args).share < compare_settings(lit, walking, *args).share - 0.1


def test_a_single_sensitivity_is_not_the_highest_accepted():
    fixed = draw_archive(1, World(fixed_iso=True)).table
    kept, free = light_answers(fixed, Settings())
    assert kept.iso_max == kept.iso_min == pytest.approx(800, rel=0.01)
    assert free.iso_max >= 6400
    (stated,) = light_answers(fixed, Settings(iso_max=1600))
    assert stated.iso_max == 1600
    several = light_answers(draw_archive(1, World()).table, Settings())
    assert several[1].iso_max == pytest.approx(2 * several[0].iso_max)


def test_a_zone_where_nobody_was_met_is_not_tried(exact):
    subjects, _ = exact
    middle = float(np.median(np.exp(subjects.stated_log_m)))
    assert tried_there(subjects, np.array([1.4]), np.array([middle])).all(), "a narrow zone among them"
    tried = tried_there(subjects, np.array([8.0, 8.0, 16.0]), np.array([middle, 0.5, 0.6]))
    assert tried.tolist() == [True, False, False]


def test_a_hit_rate_has_the_errors_of_the_level_and_of_the_gain(exact):
    """In logarithms, by root of squares; a gain of 1 that is known exactly leaves the level's."""
    subjects, known = exact
    level = fit_level([30, 25, 40, 35], [300, 280, 310, 320])
    paired = compare_settings(subjects, known, np.array([8.0, 5.6]), np.array([2.5, 3.0]), AS_IS, 0.0)
    exactly = replace(
        paired, gain=np.array([1.0, 1.5]), gain_low=np.array([1.0, 1.2]), gain_high=np.array([1.0, 1.9])
    )
    valued = value_settings(paired, exactly, level, subjects, AS_IS[0], 0.03, 0.95)
    by_stop = {one.f_number: one for one in valued.itertuples()}
    for number, gain, of_gain in ((8.0, 1.0, 0.0), (5.6, 1.5, np.log(1.9 / 1.2) / 2)):
        reach = np.hypot(np.log(level.high / level.low) / 2, of_gain)
        assert by_stop[number].expected_hit_rate == pytest.approx(gain * level.rate)
        assert np.log(by_stop[number].high / by_stop[number].low) / 2 == pytest.approx(reach)


def test_the_losses_of_a_stop_add_up_and_go_where_they_come_from(exact):
    subjects, known = exact
    walking = replace(known, walking=np.ones(DRAWS), kappa=np.full(DRAWS, 4.0))
    answer = LightAnswer(800, 800, 1 / 250, 1.0)
    numbers, rings = (grid.ravel() for grid in np.meshgrid([2.8, 8.0, 16.0], [2.0, 3.0, 5.0]))
    paired = compare_settings(subjects, walking, numbers, rings, (answer,), 1.32)
    valued = value_settings(paired, paired, fit_level([30], [300]), subjects, answer, 0.03, 0.95)
    stops = list(best_by_stop(valued, subjects, walking, answer, 1.32).itertuples())
    assert [stop.f_number for stop in stops] == [2.8, 8.0, 16.0]
    for stop in stops:
        lost = stop.lost_to_defocus + stop.lost_to_motion + stop.lost_to_diffraction
        assert stop.expected + lost == pytest.approx(1.0)
    assert stops[0].lost_to_defocus > stops[1].lost_to_defocus > stops[2].lost_to_defocus
    assert stops[0].lost_to_motion < stops[1].lost_to_motion < stops[2].lost_to_motion
    assert stops[2].median_shutter_s > stops[1].median_shutter_s > stops[0].median_shutter_s
    times = times_at(subjects, 2.8, answer)
    lost = lost_to_causes(subjects, walking, 2.8, 2.0, times, 1.32)
    at_once = compare_settings(subjects, walking, np.array([2.8]), np.array([2.0]), (answer,), 1.32)
    assert sum(lost.values()) == pytest.approx(1 - at_once.share[0], abs=0.03)
    assert lost_to_causes(subjects, walking, 2.8, 2.0, times, 0.0)["motion"] == pytest.approx(0.0, abs=1e-6)


def test_shares_kept_follow_the_other_eye_and_never_fall_below_the_floor(exact):
    subjects, known = exact
    eyes = replace(known, log_keep=known.log_sharp + 0.5, floor=np.full(DRAWS, 0.2))
    args = (subjects, eyes, np.array([8.0, 2.8]), np.array([2.5, 0.6]), AS_IS, 0.0)
    sharp, kept = compare_settings(*args), compare_settings(*args, keep=True)
    larger = compare_settings(subjects, replace(known, log_sharp=eyes.log_keep), *args[2:])
    assert kept.share == pytest.approx(0.2 + 0.8 * larger.share, abs=1e-6)
    assert (kept.share > sharp.share).all()


def test_on_a_shifted_ring_marks_do_what_their_true_distances_do(exact):
    """A mark stands for where it focuses: with it the subjects, the zones and the losses are the same."""
    subjects, known = exact
    focal, shift = float(subjects.focal_length_mm[0]), -0.06
    subjects = subjects.chosen(subjects.focal_length_mm == focal)
    marks = np.array([1.5, 2.0, 2.5, 3.0, 5.0])
    true = true_focus_m(marks, focal, shift)
    own = true_focus_m(subjects.focus_distance_m, focal, -shift)
    shifted = replace(subjects, focus_distance_m=own, shift_mm=np.full(len(subjects), shift))
    plain = compare_settings(subjects, known, STOPS, true, AS_IS, 0.0)
    by_marks = compare_settings(shifted, known, STOPS, marks, AS_IS, 0.0)
    for name in ("share", "now", "gain"):
        assert getattr(by_marks, name) == pytest.approx(getattr(plain, name), rel=1e-4), name
    assert by_marks.tried.tolist() == plain.tried.tolist()
    assert compare_settings(shifted, known, STOPS, true, AS_IS, 0.0).share != pytest.approx(
        plain.share, rel=0.01
    )
    times = np.full(len(subjects), 1 / 500)
    lost = lost_to_causes(shifted, known, 8.0, 2.0, times, 1.32)
    assert lost == pytest.approx(lost_to_causes(subjects, known, 8.0, float(true[1]), times, 1.32), rel=1e-4)


def test_draws_are_dealt_to_both_sides_alike_and_to_answers_by_their_weight():
    answers = tuple(replace(AS_IS[0], weight=weight) for weight in (0.75, 0.25))
    dealt = _cases(answers, np.zeros(400), np.random.default_rng(0))
    sizes = {(answer.weight, side): rows.size for answer, side, rows in dealt}
    assert sizes == {(0.75, -1.0): 150, (0.75, 1.0): 150, (0.25, -1.0): 50, (0.25, 1.0): 50}
    assert sorted(np.concatenate([rows for *_, rows in dealt])) == list(range(400))
