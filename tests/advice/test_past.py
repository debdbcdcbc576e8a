"""What was advised: the promise, its line in the file, and what became of it."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.special import expit, logit
from scipy.stats import beta, betabinom, norm
from worlds.diaries import DiaryWorld, draw_diary

from auditor.advice.decide import decide
from auditor.advice.paired import Setting
from auditor.advice.past import (
    ADVICE_NAME,
    GAP,
    Advised,
    PastAdvice,
    advice_text,
    read_past,
    renewed_text,
    what_became,
)
from auditor.advice.promise import counts_promised, promise_kept, promise_sharp
from auditor.evidence.level import fit_level, walk_cdf
from auditor.evidence.sharpness import judged_frames
from auditor.evidence.subjects import frames_met
from auditor.settings import Settings


@pytest.mark.parametrize(("a", "b", "n"), [(1.3, 12.0, 60), (5.0, 2.0, 25), (0.4, 9.0, 140), (30.0, 30.0, 7)])
def test_the_interval_is_the_shortest_of_a_beta_binomial(a, b, n):
    low, high = counts_promised(a, b, n)
    up_to = betabinom(n, a, b).cdf(np.arange(-1, n + 1))
    inside = {(s, e): up_to[e + 1] - up_to[s] for s in range(n + 1) for e in range(s, n + 1)}
    held = [e - s for (s, e), share in inside.items() if share >= 0.9]
    assert inside[low, high] >= 0.9 - 1e-12
    assert high - low == min(held)


def test_a_promise_has_the_mean_and_interval_of_the_next_walk():
    level = fit_level([6, 2, 9, 4], [60, 50, 70, 40])
    promise, walk = promise_kept(level), level.next_walk()
    assert_allclose(promise.a / (promise.a + promise.b), promise.share, rtol=1e-3)
    assert_allclose(counts_promised(promise.a, promise.b, 60), (walk.low, walk.high), atol=2)
    sharp = promise_sharp(0.6, 0.5, 0.7, 0.95)
    assert sharp.low < 36 < sharp.high
    assert promise_sharp(float("nan"), 0.5, 0.7, 0.95) is None
    assert promise_kept(fit_level([], [])) is None


def test_a_promise_of_keepers_has_two_moments_of_the_law_of_a_walk():
    """Mean and variance of a share p from the chances that two presses of a walk hold none, one or two."""
    level = fit_level([6, 2, 9, 4], [60, 50, 70, 40])
    none, up_to_one, _ = walk_cdf(level.log_posterior, level.levels, 2)
    one, both = up_to_one - none, 1 - up_to_one
    promise = promise_kept(level)
    of = beta(promise.a, promise.b)
    assert_allclose(promise.share, one / 2 + both, atol=1e-4)
    assert_allclose([of.mean(), of.moment(2)], [one / 2 + both, both], rtol=2e-3)


@pytest.mark.parametrize(
    ("share", "low", "high", "confidence"), [(0.6, 0.55, 0.8, 0.95), (0.2, 0.1, 0.4, 0.8)]
)
def test_a_promise_of_sharp_presses_adds_how_walks_differ_to_what_is_unsure(share, low, high, confidence):
    """On the logit: half the interval over z, and 0.5 between walks, as squares; moments integrated here."""
    z = norm.ppf(0.5 + confidence / 2)
    sd = np.hypot((logit(high) - logit(low)) / 2 / z, 0.5)
    walk = norm(logit(share), sd)
    mean, square = (
        quad(lambda x, k=k: expit(x) ** k * walk.pdf(x), *walk.interval(1 - 1e-9))[0] for k in (1, 2)
    )
    promise = promise_sharp(share, low, high, confidence, 40)
    of = beta(promise.a, promise.b)
    assert_allclose([of.mean(), of.moment(2)], [mean, square], rtol=2e-3)
    assert_allclose(promise.share, mean, atol=1e-4)
    assert (promise.presses, promise.low, promise.high) == (40, *counts_promised(promise.a, promise.b, 40))


@pytest.mark.parametrize("seed", range(6))
def test_the_headline_promises_what_the_line_does(seed):
    diary = draw_diary(seed, DiaryWorld(walks=9))
    level = fit_level(diary["kept"], diary["kept_of"])
    promise, walk = promise_kept(level), level.next_walk()
    assert (promise.presses, promise.low, promise.high) == (walk.presses, walk.low, walk.high)


@pytest.mark.slow
def test_promises_hold_nine_times_in_ten():
    """Of the tenth walk of 250 diaries; the long form is bench_diary."""
    held = []
    for seed in range(250):
        diary = draw_diary(seed, DiaryWorld(walks=10))
        promise = promise_kept(fit_level(diary["kept"][:-1], diary["kept_of"][:-1]))
        low, high = counts_promised(promise.a, promise.b, int(diary["kept_of"].iloc[-1]))
        held.append(low <= diary["kept"].iloc[-1] <= high)
    assert 0.84 <= np.mean(held) <= 0.97


USUAL, OTHER = Setting(8.0, 2.5), Setting(5.6, 3.0)


@pytest.fixture(scope="module")
def decided(archive):
    """Three walks with one lens, a third of the subjects measured, and what was decided."""
    table = archive(600)
    walk, measured = np.repeat([1, 2, 3], 200), np.arange(600) % 3 == 2
    at = pd.Timestamp("2031-05-01 10:00") + pd.to_timedelta(walk * 86400 * 7 + np.arange(600) * 20, unit="s")
    table = table.assign(
        session=walk,
        captured_at=at,
        counted_as=np.where(np.arange(600) % 9, "not kept", "keeper"),
        subject_distance_m=table["subject_distance_m"].where(measured),
    )
    return table, decide(frames_met(table), (), Settings())


def written(folder, text):
    (folder / ADVICE_NAME).write_text(text, encoding="utf-8")
    return read_past(folder / ADVICE_NAME)


@pytest.mark.parametrize(("a", "problems"), [(1, 0), (0, 1), (1_000_000, 1)])
def test_a_promise_holds_numbers_that_can_be(tmp_path, a, problems):
    kept = {"a": a, "b": 9, "level": 0.9, "presses": 60, "low": 1, "high": 9}
    line = {"walk": "2031-05-01", "lens": "x", "kind": "keep", "settings": [], "promise": {"kept": kept}}
    assert len(written(tmp_path, json.dumps(line)).problems) == problems


@pytest.mark.parametrize(
    ("low", "high", "walk", "problems"),
    [(0, 60, "1970-01-01", 0), (9, 9, "2200-12-31", 0), (-1, 9, "2031-05-01", 1), (10, 9, "2031-05-01", 1),
     (9, 61, "2031-05-01", 1), (1, 9, "1969-12-31", 1), (1, 9, "2201-01-01", 1)],
)  # fmt: skip
def test_counts_and_years_that_cannot_be_are_problems(tmp_path, low, high, walk, problems):
    sharp = {"a": 1, "b": 9, "level": 0.9, "presses": 60, "low": low, "high": high}
    line = {"walk": walk, "lens": "x", "kind": "keep", "settings": [], "promise": {"sharp": sharp}}
    past = written(tmp_path, json.dumps(line))
    assert len(past.problems) == problems
    assert [one.sharp for one in past.advised] == [(1.0, 9.0, 0.9, 60, low, high)] * (1 - problems)


@pytest.mark.parametrize(
    ("kind", "setting", "latitude", "said", "best"),
    [
        ("change", OTHER, (OTHER, USUAL), (OTHER,), True),
        ("latitude", None, (USUAL, OTHER), (USUAL, OTHER), False),
        ("keep", None, (), (USUAL,), False),
        ("cannot_tell", None, (), (), False),
    ],
)
def test_a_line_names_what_to_set_and_promises_what_it_brings(
    decided, tmp_path, kind, setting, latitude, said, best
):
    """To keep is to set what is set most; only a change promises another share than now."""
    table, decisions = decided
    told = decisions.lenses[0]
    decision = replace(told.decision, kind=kind, setting=setting, latitude=latitude)
    shares = replace(
        told.subjects, share_now=0.4, now_low=0.3, now_high=0.5, share_best=0.7, low=0.6, high=0.8
    )
    told = replace(told, decision=decision, subjects=shares, habit=((USUAL, 0.6), (OTHER, 0.4)))
    past = written(
        tmp_path, renewed_text(PastAdvice(), replace(decisions, lenses=(told,)), table, Settings())
    )
    assert past.advised[0].settings == said
    promise = promise_sharp(*((0.7, 0.6, 0.8) if best else (0.4, 0.3, 0.5)), 0.95)
    assert past.advised[0].sharp[:2] == (promise.a, promise.b)


def test_a_line_tells_what_was_advised_and_is_read_back(decided, tmp_path):
    table, decisions = decided
    past = written(tmp_path, renewed_text(PastAdvice(), decisions, table, Settings()))
    assert past.problems == []
    (line,), (advised,), (told,) = past.lines, past.advised, decisions.lenses
    said = json.loads(line)
    assert list(said)[:4] == ["date", "lens", "advice", "kind"]
    assert (said["date"], said["lens"], said["kind"]) == ("2031-05-22", told.lens, told.decision.kind)
    assert said["rests_on"]["presses"] == told.level.presses
    assert (said["promise"]["kept"]["low"], said["promise"]["kept"]["presses"]) == (0, 60) or advised.kept
    assert advised.walk == table.loc[table["session"].eq(3), "captured_at"].min()


def test_a_rerun_renews_its_own_line_and_keeps_what_a_person_changed(decided, tmp_path):
    table, decisions = decided
    before = renewed_text(PastAdvice(), decisions, table[table["session"] < 3], Settings())
    past = written(tmp_path, before)
    both = renewed_text(past, decisions, table, Settings())
    assert both.startswith(before)
    assert both.count("\n") == 2
    again = renewed_text(written(tmp_path, both), decisions, table, Settings())
    assert again == both
    told = replace(decisions.lenses[0], measured=7)
    renewed = renewed_text(past, replace(decisions, lenses=(told,)), table[table["session"] < 3], Settings())
    assert renewed.count("\n") == 1
    assert json.loads(renewed)["rests_on"]["measured"] == 7
    mine = before.replace('"advice": "', '"advice": "my own: ')
    assert renewed_text(written(tmp_path, mine), decisions, table[table["session"] < 3], Settings()) == mine


def test_an_archive_without_times_keeps_its_line_by_the_last_roll(decided, tmp_path):
    """A rerun renews it, another roll gets its own; nobody knows what was taken since."""
    table, decisions = decided
    names = [f"roll {session}/{number}.jpg" for number, session in enumerate(table["session"])]
    rolls = table.assign(captured_at=pd.NaT, file=names)
    two = rolls[rolls["session"] < 3].reset_index(drop=True)
    past = written(tmp_path, renewed_text(PastAdvice(), decisions, two, Settings()))
    (line,), (advised,) = past.lines, past.advised
    said = json.loads(line)
    assert (said["date"], said["walk"], said["roll"]) == (None, None, "roll 2/200.jpg")
    assert past.problems == []
    assert pd.isna(advised.walk)
    assert renewed_text(past, decisions, two, Settings()) == f"{line}\n"
    both = written(tmp_path, renewed_text(past, decisions, rolls, Settings()))
    assert [json.loads(one)["roll"] for one in both.lines] == ["roll 2/200.jpg", "roll 3/400.jpg"]
    assert what_became(both, table, judged_frames(table), table["captured_at"].max()) == ()
    dated = renewed_text(both, decisions, table, Settings()).splitlines()
    assert dated[:2] == list(both.lines)
    assert len(dated) == 3


HEAD = '{"walk": "2031-05-01", "lens": "x", "kind": "keep", "settings": '
BROKEN = [
    "{", "[]", "3", "null",
    '{"lens": 1}', '"\\ud800"', "{}" * 3, "[" * 5000, '{"walk": [], "lens": {}, "sum": 1}',
    '{"walk": "never", "lens": "x", "kind": "keep", "settings": []}',
    HEAD + '[{"f_number": NaN, "focus_distance_m": 2}]}',
    HEAD + '[{"f_number": 8, "focus_distance_m": true}]}',
    HEAD + '[], "promise": {"kept": {"a": -1}}}',
    '{"walk": null, "lens": "x", "kind": "keep", "settings": []}',
    *(HEAD.replace("2031-05-01", walk) + "[]}" for walk in ("-5", "-2031-05-05", "now", "2301-05-01")),
]  # fmt: skip


def test_broken_lines_are_problems_and_stay(decided, tmp_path):
    table, decisions = decided
    past = written(tmp_path, "\n\n".join(BROKEN) + "\n")
    assert len(past.problems) == len(BROKEN)
    assert past.advised == ()
    assert past.problems[1].what.startswith("Line 3 ")
    text = renewed_text(past, decisions, table, Settings())
    assert text.splitlines()[:-1] == BROKEN
    (tmp_path / ADVICE_NAME).write_bytes(b"\xff\xfe\x00")
    assert len(read_past(tmp_path / ADVICE_NAME).problems) == 1
    assert read_past(tmp_path / "none") == PastAdvice()


def test_a_walk_whose_start_moved_a_little_is_still_that_walk(decided, tmp_path):
    """Its first frame deleted, or the clock set right by an hour."""
    table, decisions = decided
    past = written(tmp_path, renewed_text(PastAdvice(), decisions, table, Settings()))
    for hours in (-1, 1):
        moved = table.assign(captured_at=table["captured_at"] + pd.Timedelta(hours=hours))
        renewed = renewed_text(past, decisions, moved, Settings())
        assert renewed.count("\n") == 1
        assert (
            json.loads(renewed)["walk"] == moved.loc[moved["session"].eq(3), "captured_at"].min().isoformat()
        )
        start = moved.groupby("session")["captured_at"].min()[3]
        assert what_became(past, moved, judged_frames(frames_met(moved)), start) == ()


@pytest.mark.parametrize(("seconds", "lines"), [(0, 1), (1, 2)])
def test_a_walk_that_begins_a_gap_away_is_the_same_and_farther_another(decided, tmp_path, seconds, lines):
    table, decisions = decided
    past = written(tmp_path, renewed_text(PastAdvice(), decisions, table, Settings()))
    for away in (GAP + pd.Timedelta(seconds=seconds), -GAP - pd.Timedelta(seconds=seconds)):
        moved = table.assign(captured_at=table["captured_at"] + away)
        assert renewed_text(past, decisions, moved, Settings()).count("\n") == lines


def test_the_last_advice_before_a_walk_is_held_against_the_walks_since(decided):
    """Of two lines of one walk the later; what began within a gap of the advice is the walk before it."""
    table, _ = decided
    starts = table.groupby("session")["captured_at"].min()
    judged, second = judged_frames(frames_met(table)), pd.Timedelta(seconds=1)

    def became(*walks, walk=starts[3]):
        lines = [Advised(at, "lens A", str(place), (), None, None) for place, at in enumerate(walks)]
        found = what_became(PastAdvice(advised=tuple(lines)), table, judged, walk)
        return [(one.advised.kind, one.walks, one.presses, one.followed) for one in found]

    assert became(starts[1], starts[2]) == became(starts[1], starts[2], starts[3]) == [("1", 1, 200, 200)]
    assert became(starts[2], starts[1]) == [("0", 1, 200, 200)]
    assert became(starts[1], starts[1]) == [("1", 2, 400, 400)]
    assert became(starts[1], starts[2], walk=starts[2]) == [("0", 1, 200, 200)]
    assert became(starts[3] - GAP) == []
    assert became(starts[1], starts[3] - GAP) == [("0", 2, 400, 400)]
    assert became(starts[3] - GAP - second) == [("0", 1, 200, 200)]
    assert became(starts[2] - GAP) == [("0", 1, 200, 200)]
    assert became(starts[2] - GAP - second) == [("0", 2, 400, 400)]
    unset = table.assign(
        in_preset=table["session"].eq(3), focal_length_mm=np.where(np.arange(600) % 2, 28, np.nan)
    )
    (found,) = what_became(
        PastAdvice(advised=(Advised(starts[1], "lens A", "keep", (), None, None),)), unset, judged, starts[3]
    )
    assert (found.walks, found.presses) == (1, 100), "only what was zone-focused, with a known focal length"


def test_what_became_is_counted_on_the_walks_since(decided, tmp_path):
    table, decisions = decided
    past = written(tmp_path, renewed_text(PastAdvice(), decisions, table[table["session"] < 2], Settings()))
    setting = Setting(5.6, 3.0)
    past = replace(past, advised=tuple(replace(one, settings=(setting,)) for one in past.advised))
    starts = table.groupby("session")["captured_at"].min()
    (found,) = what_became(past, table, judged_frames(frames_met(table)), starts[3])
    since = table[table["session"] > 1]
    at = since["f_number"].eq(5.6)
    assert (found.walks, found.presses, found.followed) == (2, 400, at.sum())
    assert (found.kept.hits, found.kept.of) == ((at & since["counted_as"].eq("keeper")).sum(), at.sum())
    assert (found.kept.low, found.kept.high) == counts_promised(*found.advised.kept[:2], found.kept.of)
    assert what_became(past, table, judged_frames(frames_met(table)), starts[1]) == ()
    (second,) = what_became(past, table, judged_frames(frames_met(table)), starts[2])
    assert second.walks == 1
    promised = replace(
        past, advised=tuple(replace(one, sharp=(3.0, 2.0, 0.9, 60, 9, 58)) for one in past.advised)
    )
    sixty = replace(past, advised=(replace(past.advised[0], kept=(1.0, 9.0, 0.9, int(at.sum()), 3, 14)),))
    (stated,) = what_became(sixty, table, judged_frames(frames_met(table)), starts[3])
    assert (stated.kept.low, stated.kept.high) == (3, 14), "of so many presses, as it was promised"
    verdicts = table.assign(sharp=pd.array(np.where(np.arange(600) % 13, "yes", "no"), dtype="str"))
    drawn = judged_frames(frames_met(verdicts))
    (judged,) = what_became(promised, verdicts, drawn, starts[3])
    frames, weight = drawn.frames, drawn.sampled.weight
    own = (frames["session"].gt(1) & frames["f_number"].eq(5.6)).to_numpy(bool)
    assert_allclose(judged.sharp.share, weight[own] @ frames["sharp"].eq("yes")[own] / weight[own].sum())
    # Kish's effective number (Survey Sampling, 1965, 11.7: from memory), whole verdicts only.
    assert judged.sharp.of == np.floor(np.square(weight[own].sum()) / np.square(weight[own]).sum() + 1e-9)
    unmarked = table.assign(counted_as="left out")
    (silent,) = what_became(past, unmarked, judged_frames(frames_met(unmarked)), starts[3])
    assert (silent.followed, silent.kept) == (at.sum(), None), (
        "followed, and nothing known of what it brought"
    )


@pytest.mark.parametrize(
    ("advised", "set_at", "followed", "said"),
    [
        ([(8, 3)], (8, 2.9), True, "f/8 at 3 m"),  # as a camera reports a ring on 3 m
        ([(8, 3)], (8, 2.8), False, "f/8 at 3 m"),
        ([(8, 2), (8, 3)], (8, 2.5), True, "f/8, 2 to 3 m"),
        ([(8, 2), (8, 3), (11, 3)], (11, 2.5), False, "f/8, 2 to 3 m or f/11 at 3 m"),
        ([(8, 3), (8, np.inf)], (8, 40), True, "f/8, 3 m to ∞"),
        ([(8, np.inf)], (8, 40), False, "f/8 at ∞"),
    ],
)
def test_a_setting_between_those_advised_at_its_stop_follows(
    decided, tmp_path, advised, set_at, followed, said
):
    table, decisions = decided
    past = written(tmp_path, renewed_text(PastAdvice(), decisions, table[table["session"] < 2], Settings()))
    settings = tuple(Setting(float(stop), float(ring)) for stop, ring in advised)
    past = replace(past, advised=(replace(past.advised[0], settings=settings),))
    own = table.assign(f_number=float(set_at[0]), focus_distance_m=float(set_at[1]))
    starts = table.groupby("session")["captured_at"].min()
    (found,) = what_became(past, own, judged_frames(frames_met(own)), starts[3])
    assert found.followed == (found.presses if followed else 0)
    assert advice_text(settings) == said
