"""The posterior of both tolerances against the same sums written out, of subjects whose blur is certain."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit, logsumexp
from scipy.stats import norm
from scipy.stats import t as student

from auditor.evidence.blur_tolerance import fit_tolerances
from auditor.evidence.keeper_likelihood import FLOOR_WEIGHTS, FLOORS, keeper_log_likelihood
from auditor.evidence.subjects import frames_met, gather_subjects
from auditor.optics.blur import airy_mm, defocus_mm
from auditor.optics.lens import lens_distance_m, magnification
from auditor.settings import Settings

UNIT = np.hypot(36, 24) / 1442
TAU = np.arange(np.log(0.15), np.log(30.0), 0.1)  # log tolerance over the unit
KAPPA = np.log(3.2) + np.array([-1.0, -0.5, 0, 0.5, 1])
APART = np.arange(-10, 15) / 10
DISTANCE = np.geomspace(1.2, 12, 60)


@pytest.fixture
def subjects(frame_table):
    """Sixty presses with a measured distance and no known time, of a 50 mm lens at f/4 on 3 m."""

    def gather(kept, sharp, **columns):
        setting = {"preset": "a", "lens": "lens A", "focal_length_mm": 50.0, "f_number": 4.0,
                   "focus_distance_m": 3.0, "sensor_width_mm": 36.0, "sensor_height_mm": 24.0,
                   "subject_distance_m": DISTANCE, "subject_distance_rel_sd": 0.0,
                   "sharp": sharp}  # fmt: skip
        return gather_subjects(frames_met(frame_table(kept, **(setting | columns))), Settings())

    return gather


def blur():
    """Blur of each subject over the unit, shape (60,)."""
    airy = airy_mm(4.0, magnification(lens_distance_m(DISTANCE, 50.0), 50.0))
    return np.hypot(defocus_mm(50.0, 4.0, 3.0, DISTANCE), airy) / UNIT


def left(tau, kappa):
    """What blur leaves of each subject, shape (taus, kappas, 60)."""
    return expit(-np.exp(kappa)[None, :, None] * (np.log(blur()) - tau[:, None, None]))


def prior():
    """Weights of the grid: Student's t of three degrees around 1.4 units, normal steepness."""
    weight = np.outer(student.pdf((TAU - np.log(1.4)) / 0.5, 3), norm.pdf((KAPPA - np.log(3.2)) / 0.5))
    return weight / weight.sum()


def quantiles(weight, shares):
    """Of a density even within each tenth of a logarithm."""
    ends = np.concatenate([TAU - 0.05, [TAU[-1] + 0.05]])
    return UNIT * np.exp(np.interp(shares, np.concatenate([[0], np.cumsum(weight / weight.sum())]), ends))


SOFT = blur() * np.tile([1, 1.7, 0.6], 20) >= 2
VERDICTS = np.where(np.arange(60) % 7 == 3, "unsure", np.where(SOFT, "no", "yes"))


def verdict_likelihood(rows=True):
    """One verdict in fifty is given by mistake, either way; shape (taus, kappas)."""
    seen = 0.02 + 0.96 * left(TAU, KAPPA)
    log = np.log(seen[..., rows & (VERDICTS == "yes")]).sum(axis=2)
    log += np.log(1 - seen[..., rows & (VERDICTS == "no")]).sum(axis=2)
    return np.exp(log - log.max())


def test_verdicts_narrow_the_tolerance_of_sharpness(subjects):
    found = fit_tolerances(subjects(np.zeros(60), VERDICTS), 0.0, 0.8)[0]
    weight = (prior() * verdict_likelihood()).sum(axis=1)
    weight /= weight.sum()
    wanted = quantiles(weight, [0.5, 0.1, 0.9])
    assert [found.sharp.blur_mm, found.sharp.low, found.sharp.high] == pytest.approx(wanted, rel=0.005)
    centre = weight @ TAU
    assert found.sharp_sd == pytest.approx(np.sqrt(weight @ (TAU - centre) ** 2), rel=0.02)
    assert (found.sharp.count, found.keep.count) == ((VERDICTS != "unsure").sum(), 0)
    assert found.handbook_mm == pytest.approx(UNIT)
    assert np.median(found.log_sharp) == pytest.approx(np.log(wanted[0] / UNIT), abs=0.02)
    # nobody kept anything, so the other tolerance lies apart by the prior alone
    assert np.mean(found.log_keep - found.log_sharp) == pytest.approx(0.2, abs=0.05)
    assert np.std(found.log_keep - found.log_sharp) == pytest.approx(0.4, abs=0.05)


def test_without_times_the_prior_says_how_many_walk(subjects):
    walk = fit_tolerances(subjects(np.zeros(60), VERDICTS), 1.3)[0].walking
    shares = [np.mean(walk == share) for share in (1.0, 0.5, 0.0)]
    assert shares == pytest.approx([0.7, 0.2, 0.1], abs=0.005)
    assert not fit_tolerances(subjects(np.zeros(60), VERDICTS), 0.0)[0].walking.any()


HIT = (blur() < 2) & (np.arange(60) % 3 > 0)
PLACE = np.clip(
    np.arange(TAU.size)[:, None] + np.arange(-10, 15), 0, TAU.size - 1
)  # of the tolerance to keep


def keep_likelihood(met, rows):
    """Logarithms, shape (taus, kappas, floors), and that of marks that do not follow blur."""
    n = rows.sum()
    shares = left(TAU, KAPPA)[..., rows].reshape(-1, n).T
    log, plain = keeper_log_likelihood(
        shares, HIT[rows], np.zeros(n), met.log_m[rows], np.ones(n), np.ones(n)
    )
    return log.reshape(TAU.size, KAPPA.size, FLOORS.size) + np.log(FLOOR_WEIGHTS), plain


def joined(rows, keep):
    """Logarithms of verdicts and marks, shape (taus, kappas, apart)."""
    return np.log(verdict_likelihood(rows))[..., None] + logsumexp(keep, axis=2)[PLACE].transpose(0, 2, 1)


def lent(log):
    """What another lens says, through a factor of a fifth in steps of a tenth."""
    steps = np.arange(-6, 7)
    moved = np.stack([log[np.clip(np.arange(TAU.size) + step, 0, TAU.size - 1)] for step in steps])
    return logsumexp(moved, axis=0, b=norm.pdf(steps / 2).reshape(-1, *[1] * log.ndim))


@pytest.mark.parametrize("verdicts", [None, VERDICTS])
@pytest.mark.parametrize("lenses", [1, 2])
def test_marks_narrow_the_tolerance_for_keeping_and_say_whether_they_follow_blur(subjects, verdicts, lenses):
    """Presses within two units mostly kept, none beyond: sums over floor, steepness and distance apart."""
    own = np.arange(60) % lenses == 0
    names = np.where(own, "lens A", "lens B")
    met = subjects(HIT.astype(int), verdicts, lens=names)
    asked = np.full(60, verdicts is not None)
    before = np.log(prior())[..., None] + np.log(norm.pdf((APART - 0.2) / 0.4))
    alone = before + np.log(verdict_likelihood(own & asked))[..., None]
    keep, plain = keep_likelihood(met, own)
    joint = before + joined(own & asked, keep)
    if lenses == 2:
        other_keep, other_plain = keep_likelihood(met, ~own)
        joint = joint + lent(joined(~own & asked, other_keep))
        alone = alone + lent(np.log(verdict_likelihood(~own & asked)))[..., None]
        plain += other_plain
    density = np.exp(joint - logsumexp(joint))
    of_keep = np.zeros(TAU.size)
    np.add.at(of_keep, PLACE, density.sum(axis=1))
    wanted = quantiles(of_keep, [0.5, 0.1, 0.9])
    found = fit_tolerances(met, 0.0, 0.8)[0]
    assert [found.keep.blur_mm, found.keep.low, found.keep.high] == pytest.approx(wanted, rel=0.01)
    assert (found.keep.count, found.sharp.count) == (HIT.sum(), (VERDICTS != "unsure").sum() * asked[0])
    # every curve leaves room for more keepers, so only whether marks follow blur is open
    marks = logsumexp(joint) - logsumexp(alone)
    assert found.nothing == pytest.approx(1 / (1 + np.exp(marks - plain)), rel=0.1)
    of_floor = np.exp(keep - logsumexp(keep, axis=2, keepdims=True))[PLACE].transpose(0, 2, 1, 3)
    floors = (density[..., None] * of_floor).sum(axis=(0, 1, 2))
    assert [np.mean(np.isclose(found.floor, floor)) for floor in FLOORS] == pytest.approx(floors, abs=0.06)


def test_where_hardly_any_subject_is_blurred_blur_decides_nothing(subjects):
    """All stand on the focus distance and were judged sharp: more keepers than one in eleven are not lost."""
    sharp = fit_tolerances(subjects(HIT.astype(int), "yes", subject_distance_m=3.0), 0.0)[0]
    assert sharp.nothing > 0.95
    assert sharp.sharp.low > 0.01


def test_another_lens_speaks_through_a_factor_of_a_fifth(subjects):
    """Of the lens itself nothing is known: what verdicts and marks on the other say."""
    met = replace(subjects(np.zeros(60), VERDICTS), lenses=("lens A", "lens B"))
    other = fit_tolerances(met, 0.0, 0.8)[1]
    mixed = np.exp(lent(np.log(verdict_likelihood())))
    wanted = quantiles((prior() * mixed).sum(axis=1), [0.5, 0.1, 0.9])
    assert [other.sharp.blur_mm, other.sharp.low, other.sharp.high] == pytest.approx(wanted, rel=0.005)
    marked = replace(subjects(HIT.astype(int), VERDICTS), lenses=("lens A", "lens B"))
    keep, plain = keep_likelihood(marked, np.ones(60, dtype=bool))
    before = np.log(prior())[..., None] + np.log(norm.pdf((APART - 0.2) / 0.4))
    marks = logsumexp(before + lent(joined(True, keep))) - logsumexp(before + np.log(mixed)[..., None])
    nothing = fit_tolerances(marked, 0.0)[1].nothing
    assert nothing == pytest.approx(1 / (1 + np.exp(marks - plain)), rel=0.1)


def test_curves_that_leave_little_to_gain_do_not_count(subjects, monkeypatch):
    """What a curve leaves is its floor, and of the rest its mean over the subjects: here half of them."""
    met = subjects(HIT.astype(int), VERDICTS)
    found = fit_tolerances(met, 0.0)[0]
    falls = expit(-found.kappa[:, None] * (np.log(blur()) - found.log_keep[:, None])).mean(axis=1)
    leaves = found.floor + (1 - found.floor) * falls
    assert leaves.max() < 1 / 1.09
    monkeypatch.setattr("auditor.evidence.blur_tolerance.WORTH", 1 / np.median(leaves))
    half = fit_tolerances(met, 0.0)[0].nothing
    assert 1 - half == pytest.approx((1 - found.nothing) / 2, rel=0.04)


def test_presses_that_do_not_count_leave_the_tolerance_for_keeping_as_it_is(subjects):
    met = subjects(HIT.astype(int), None)
    counts = np.arange(60) % 4 > 0
    some = replace(met, frames=np.where(counts, 1.0, 0.0), hit=HIT & counts)
    found, wanted = (fit_tolerances(one, 0.0)[0].keep for one in (some, met.chosen(counts)))
    assert [found.low, found.blur_mm, found.high] == pytest.approx([wanted.low, wanted.blur_mm, wanted.high])


def test_who_calls_everything_sharp_bears_as_much_as_the_grid_holds(subjects):
    """Subjects at 0.4 m, of more than 50 units of blur, all judged sharp."""
    met = subjects(np.zeros(60), "yes", subject_distance_m=0.4)
    found = fit_tolerances(met, 0.0)[0].sharp
    airy = airy_mm(4.0, magnification(lens_distance_m(0.4, 50.0), 50.0))
    own = np.log(np.hypot(defocus_mm(50.0, 4.0, 3.0, 0.4), airy) / UNIT)
    seen = 0.02 + 0.96 * expit(-np.exp(KAPPA) * (own - TAU[:, None]))
    wanted = quantiles((prior() * seen**60).sum(axis=1), [0.025, 0.5, 0.975])
    assert [found.low, found.blur_mm, found.high] == pytest.approx(wanted, rel=0.003)
