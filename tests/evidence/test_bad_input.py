"""Whatever the table, each part says what can be said: no warning, no exception."""

import numpy as np
import pytest
from worlds.archives import World, draw_archive

from auditor.advice.past import PastAdvice
from auditor.advice.this_walk import keep_diary, telling_frames
from auditor.evidence.bursts import count_frames
from auditor.evidence.causes import find_causes
from auditor.evidence.comparisons import compare_presets
from auditor.evidence.distances_met import distances_met
from auditor.evidence.presets import count_sessions
from auditor.evidence.rates import hit_rates
from auditor.evidence.sharpness import judged_frames
from auditor.evidence.subjects import frames_met
from auditor.evidence.tolerance import FLAGS, fit_tolerance
from auditor.evidence.zone_check import check_zone
from auditor.frames import with_columns
from auditor.settings import Settings


@pytest.fixture(scope="module")
def archive():
    return draw_archive(np.random.default_rng(1), World("x"), 300)[0]


CASES = {
    "nothing": lambda t: t.iloc[:0],
    "one frame": lambda t: t.iloc[:1],
    "single burst": lambda t: t.iloc[:6].assign(burst=1),
    "no marks": lambda t: t.assign(counted_as="left out"),
    "all keepers": lambda t: t.assign(counted_as="keeper"),
    "no keepers": lambda t: t.assign(counted_as="not kept"),
    "one keeper": lambda t: t.assign(counted_as=["keeper"] + ["not kept"] * (len(t) - 1)),
    "one preset": lambda t: t[t["preset"] == "preset 0"].reset_index(drop=True),
    "autofocused": lambda t: t.assign(in_preset=False),
    "constant blur": lambda t: t.assign(
        subject_distance_m=2.0, focus_distance_m=3.0, f_number=8.0, exposure_time_s=0.002, blur_mm=0.03,
        subject_distance_rel_sd=0.0,
    ),
    "no distances": lambda t: t.assign(subject_distance_m=np.nan, blur_mm=np.nan, in_zone=None, side=None),
    "absurd distances": lambda t: t.assign(
        subject_distance_m=np.resize([1e-4, 0.0, -3.0, 1e9, np.inf], len(t)),
        blur_mm=np.resize([5.0, 1e-7], len(t)),
    ),
    "infinite focus": lambda t: t.assign(focus_distance_m=np.inf),
    "no exposure": lambda t: t.assign(exposure_time_s=np.nan, motion_mm=np.nan, blur_mm=np.nan),
    "no times": lambda t: t.assign(captured_at=None, session=None, burst=None),
    "huge errors": lambda t: t.assign(subject_distance_rel_sd=50.0),
    "weights of zero": lambda t: t.assign(sample_weight=0.0),
    "no lens": lambda t: t.assign(lens=None),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES)
def test_every_part_answers(archive, case):
    table = with_columns(CASES[case](archive.copy()))
    settings = Settings()
    tolerance = fit_tolerance(table, settings)
    causes = find_causes(count_frames(table), settings, tolerance)
    check_zone(count_frames(table), tolerance)
    compare_presets(count_frames(table), settings)
    telling_frames(count_frames(table).blurred, tolerance, causes)
    distances_met(count_frames(table))
    judged, sessions = judged_frames(frames_met(table)), count_sessions(count_frames(table), 0.95)
    keep_diary(count_frames(table), judged, sessions, settings, tolerance, causes, PastAdvice())
    hit_rates(table, "preset")
    assert set(tolerance.flags) <= set(FLAGS)
    if tolerance.fitted:
        for eye in (tolerance.sharp, tolerance.keep):
            assert 0 < eye.low < eye.blur_mm < eye.high
        if causes.frames.empty:
            return
        assert 0 <= tolerance.floor <= tolerance.ceiling < 1
        assert np.isfinite(causes.table["frames"]).all()
    else:
        assert "no_distances" in tolerance.flags
        assert not tolerance.carries


@pytest.mark.parametrize("case", ["no distances", "nothing", "autofocused"])
def test_no_blur_is_said(archive, case):
    tolerance = fit_tolerance(with_columns(CASES[case](archive.copy())), Settings())
    assert "no_distances" in tolerance.flags
    assert tolerance.bursts == 0


@pytest.mark.parametrize("case", ["one keeper", "constant blur", "all keepers", "no keepers"])
def test_nothing_rests_on_what_is_hardly_known(archive, case):
    tolerance = fit_tolerance(with_columns(CASES[case](archive.copy())), Settings())
    assert not tolerance.carries
    assert "few_verdicts" in tolerance.flags
