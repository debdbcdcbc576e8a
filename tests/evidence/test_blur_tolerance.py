"""The two tolerances: what verdicts and marks tell, and what they cannot."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from worlds.people import HANDBOOK_MM, World, blur_mm, draw_archive

from auditor.evidence.blur_classes import LOG_BLUR, blur_shares, sharp_curve
from auditor.evidence.blur_tolerance import fit_tolerances
from auditor.evidence.keeper_likelihood import FLOORS, keeper_log_likelihood, put_alike_together
from auditor.evidence.subjects import frames_met, gather_subjects, sessions_at_random, weigh_by_mark
from auditor.settings import Settings


def fitted(seed, world, **settings):
    archive = draw_archive(seed, world)
    chosen = Settings(**settings)
    subjects = gather_subjects(frames_met(archive.table), chosen)
    return archive, subjects, fit_tolerances(subjects, chosen.speed_m_s)[0]


def test_without_any_subject_the_prior_comes_back():
    _, subjects, tolerance = fitted(1, World(distances=0, frames=60))
    assert len(subjects) == 0
    assert tolerance.sharp.blur_mm == pytest.approx(1.4 * HANDBOOK_MM, rel=0.03)
    assert tolerance.keep.blur_mm / tolerance.sharp.blur_mm == pytest.approx(np.exp(0.2), rel=0.05)
    assert tolerance.sharp.high / tolerance.sharp.low > 15


def test_many_verdicts_find_the_tolerance_of_sharpness_and_not_the_keepers():
    world = World(frames=2500, distances=1200, verdicts=1200, eye=0.6, lapse=0.02, distance_bias=0.0)
    archive, _, tolerance = fitted(7, world)
    assert tolerance.sharp.blur_mm == pytest.approx(archive.person.tau_sharp, rel=0.12)
    assert tolerance.sharp.low < archive.person.tau_sharp < tolerance.sharp.high
    assert tolerance.sharp.high / tolerance.sharp.low < 1.5


def test_the_blur_of_a_subject_is_averaged_over_distance_speed_and_direction():
    rng = np.random.default_rng(2)
    log_m, sd, n = np.log(2.2), 0.1, 40_000
    one = [np.array([v]) for v in (35.0, 5.6, 3.0, log_m, sd, 1 / 250)]
    shares = blur_shares(*one, 1.32, np.array([HANDBOOK_MM]))[0]
    speed = np.maximum(rng.normal(1.32, 0.31, n), 0)
    sine = np.abs(np.sin(rng.uniform(0, 2 * np.pi, n)))
    drawn = blur_mm(35.0, 5.6, 3.0, np.exp(log_m + sd * rng.standard_normal(n)), 1 / 250, speed, sine)
    for times in (1.0, 2.0, 4.0):
        direct = (1 / (1 + (drawn / HANDBOOK_MM / times) ** 4)).mean()
        assert shares @ sharp_curve(np.log(times), 4.0) == pytest.approx(direct, abs=0.012)


def test_the_likelihood_of_marks_is_that_of_its_model():
    """Against the same sums written out with loops, on five presses."""
    rng = np.random.default_rng(3)
    left, hit = rng.uniform(0.1, 0.9, (5, 2)), np.array([True, False, False, True, False])
    odds, log_m = np.array([1.0, 0.5, 0.5, 1.0, 0.0]), rng.normal(1, 0.3, 5)
    frames = np.array([1.0, 2.0, 1.0, 3.0, 1.0])
    found, _ = keeper_log_likelihood(left, hit, odds, log_m, frames, np.ones(5))
    rate = (hit * np.exp(-odds * hit)).sum() / np.exp(-odds * hit).sum()
    low = np.log(rate / (1 - rate))
    levels, tilts = np.linspace(low - 1.2, min(low + 3.6, 4), 11), 0.7 * np.array([-1.6, -0.8, 0, 0.8, 1.6])
    weight = np.exp(-0.5 * ((levels - np.log(0.12 / 0.88)) / 1.5) ** 2)
    tilt_weight = np.exp(-0.5 * (tilts / 0.7) ** 2)
    for g in range(2):
        for f, floor in enumerate(FLOORS):
            total = 0.0
            for level, w in zip(levels, weight / weight.sum(), strict=True):
                for tilt, v in zip(tilts, tilt_weight / tilt_weight.sum(), strict=True):
                    chance = 1.0
                    for i in range(5):
                        logit = level + tilt * (log_m.mean() - log_m[i]) + 0.5 * np.log(frames[i])
                        kept = (floor + (1 - floor) * left[i, g]) / (1 + np.exp(-logit))
                        drawn = np.exp(odds[i]) * kept + 1 - kept
                        # A constant factor of the sampling is left out for presses with a keeper.
                        chance *= kept / drawn if hit[i] else (1 - kept) / drawn
                    total += w * v * chance
            assert found[g, f] == pytest.approx(np.log(total), abs=1e-4)


@pytest.mark.parametrize("frames", [1.0, 1.3, 1.6, 2.0])
def test_many_marks_that_do_not_follow_blur_are_summed_over_their_level(frames):
    """120 keepers of 400 presses at one distance: against a numerical integral over the level."""
    hit, same = np.arange(400) < 120, np.zeros(400)
    _, plain = keeper_log_likelihood(np.ones((400, 1)), hit, same, same, same + frames, np.ones(400))
    middle, moment = np.log(0.3 / 0.7), 0.5 * np.log(frames)

    def prior(level):
        return np.exp(-0.5 * ((level - np.log(0.12 / 0.88)) / 1.5) ** 2)

    def likely(level):
        rate = 1 / (1 + np.exp(-level - moment))
        return prior(level) * np.exp(120 * np.log(rate / 0.3) + 280 * np.log((1 - rate) / 0.7))

    ends = middle - 1.2, middle + 3.6
    exact = np.log(quad(likely, *ends, points=[middle - moment])[0] / quad(prior, *ends)[0])
    assert plain == pytest.approx(exact + 120 * np.log(0.3) + 280 * np.log(0.7), abs=0.05)


def test_presses_drawn_by_mark_do_not_move_the_tolerance():
    """A third of those not kept, every keeper: the odds of the draw put that right."""
    world = World(frames=3000, keep=(0.3, 0.3), distances=2999, near=0.0, session_sd=0.0, distance_bias=0.0)
    archive, _, full = fitted(8, world)
    rng = np.random.default_rng(0)
    table = archive.table.copy()
    lost = (table["counted_as"] == "not kept") & (rng.random(len(table)) < 0.67)
    table.loc[lost, "subject_distance_m"] = np.nan
    part = fit_tolerances(gather_subjects(frames_met(table), Settings()), 1.32)[0]
    assert part.keep.blur_mm == pytest.approx(full.keep.blur_mm, rel=0.2)
    assert np.nanmax(gather_subjects(frames_met(table), Settings()).drawn_odds) > 0.5


def test_alike_presses_may_be_put_together():
    archive = draw_archive(9, World(frames=1500, distances=900, keep=(0.2, 0.2)))
    subjects = gather_subjects(frames_met(archive.table), Settings())
    shares = np.eye(LOG_BLUR.size, dtype=np.float32)[np.arange(len(subjects)) % 40]
    together, (log_m,), count = put_alike_together(shares, LOG_BLUR, subjects.log_m)
    assert count.sum() == len(subjects)
    assert len(together) < len(subjects)
    assert (count * log_m).sum() == pytest.approx(subjects.log_m.sum())


@pytest.mark.slow
def test_marks_that_do_not_follow_blur_are_found_out():
    nothing = World(blur_decides=False, known=True, frames=3000, distances=300, keep=(0.06, 0.06))
    follows = replace(nothing, blur_decides=True)
    assert np.median([fitted(seed, nothing)[2].nothing for seed in range(1, 4)]) > 0.75
    fits = [fitted(seed, follows) for seed in range(1, 9)]
    found = [(archive.left.mean(), tolerance.nothing) for archive, _, tolerance in fits]
    decides = [chance for left, chance in found if left < 0.6]
    assert len(decides) >= 3
    assert max(decides) < 0.75
    assert np.median(decides) < 0.25


def test_another_lens_lends_its_tolerance_up_to_a_factor():
    archive = draw_archive(6, World(verdicts=60))
    table = archive.table.copy()
    table["lens"] = np.where(np.arange(len(table)) % 400 < 380, "lens A", "lens B")
    table.loc[table["lens"] == "lens B", ["subject_distance_m", "sharp"]] = [np.nan, None]
    subjects = gather_subjects(frames_met(table), Settings())
    known, other = fit_tolerances(subjects, 1.32)
    assert other.sharp.blur_mm == pytest.approx(known.sharp.blur_mm, rel=0.15)
    assert known.sharp.high / known.sharp.low < other.sharp.high / other.sharp.low < 6


def test_whole_sessions_are_drawn_where_there_are_too_many_presses():
    archive = draw_archive(2, World(frames=900, distances=700))
    subjects = gather_subjects(frames_met(archive.table), Settings())
    drawn = sessions_at_random(subjects, most=250)
    assert len(drawn) <= 250
    for session in np.unique(drawn.session):
        assert (drawn.session == session).sum() == (subjects.session == session).sum()


def test_a_verdict_on_a_small_picture_is_carried_to_the_size_asked_for():
    """Twice as coarse a picture hides twice the blur: what is borne there is half at the size asked for."""
    archive = draw_archive(7, World(frames=1200, distances=500, verdicts=500))
    table = archive.table
    plain = fit_tolerances(gather_subjects(frames_met(table), Settings()), 1.32)[0]
    same = 2 * 36 / HANDBOOK_MM
    for shown, times in ((same, 1.0), (same / 2, 0.5)):
        seen = fit_tolerances(
            gather_subjects(frames_met(table.assign(sharp_shown_px=shown)), Settings()), 1.32
        )[0]
        assert seen.sharp.blur_mm == pytest.approx(times * plain.sharp.blur_mm, rel=0.04)
        assert seen.seen_at == pytest.approx(1 / times, rel=1e-3)
    loupe = table.assign(sharp_shown_px=same, sharp_seen="pixels", pixel_width=6000, pixel_height=4000)
    assert gather_subjects(frames_met(loupe), Settings()).seen_at[0] == pytest.approx(
        2 * 36 / 6000 / HANDBOOK_MM, rel=1e-3
    )


def test_the_drawn_subjects_stand_for_every_counted_frame():
    """Weighted, the frames of each preset and mark add up to those counted."""
    archive = draw_archive(3, World())
    frames = archive.table
    preset = frames["preset"].factorize()[0]
    weight, _, _ = weigh_by_mark(frames, preset, frames["subject_distance_m"].notna().to_numpy())
    cells = frames.assign(weight=weight).groupby(["preset", "counted_as"])["weight"].agg(["sum", "size"])
    assert cells["sum"].to_numpy() == pytest.approx(cells["size"].to_numpy())
    subjects = gather_subjects(frames_met(frames), Settings())
    presses = frames["burst"].nunique()
    assert subjects.weight.sum() == pytest.approx(presses, rel=0.15)
