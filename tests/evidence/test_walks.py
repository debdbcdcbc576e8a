"""Walks over time: what is counted, the band of the usual, and drifts, against plain counts and libraries."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.special import expit
from scipy.stats import linregress
from scipy.stats import t as student
from worlds.diaries import DiaryWorld, draw_diary

from auditor.evidence.bursts import count_frames
from auditor.evidence.drift import find_drifts, line_through
from auditor.evidence.presets import count_sessions
from auditor.evidence.usual import usual_counts, usual_shares
from auditor.evidence.walks import count_walks, second_look
from auditor.evidence.weights import add_weights


def counted_walks(table, unmarked="auto"):
    counted = count_frames(table)
    return count_walks(counted, count_sessions(counted, 0.95), unmarked)


@pytest.fixture
def walked(frame_table):
    """Make walks of so many presses and keepers, one frame a press."""

    def make(presses, keepers, **columns):
        kept = np.concatenate(
            [np.r_[np.ones(k), np.zeros(n - k)] for n, k in zip(presses, keepers, strict=True)]
        )
        session = np.repeat(np.arange(len(presses)) + 1, presses)
        at = pd.Timestamp("2031-05-04 10:00") + pd.to_timedelta(
            session * 86400 + np.arange(len(kept)) * 9, unit="s"
        )
        setting = {"preset": "p", "f_number": 8.0, "focus_distance_m": 2.5, "focal_length_mm": 28.0}
        marks = {"keeper": np.where(kept == 1, "yes", "no")}
        return frame_table(kept, **(setting | marks | {"session": session, "captured_at": at} | columns))

    return make


def test_counts_are_those_of_each_walk(walked):
    walks = counted_walks(walked([40, 30, 50], [4, 0, 9]))
    assert walks["presses"].tolist() == [40, 30, 50]
    assert walks["kept"].tolist() == [4, 0, 9]
    assert_allclose(walks["kept_share"], [0.1, 0, 0.18])
    assert walks["kept_place"].tolist() == ["no_usual"] * 3
    assert_allclose(walks["log_f_number"], np.log(8))


def test_rolls_without_times_make_nothing_usual_for_dated_walks(walked):
    table = walked([40] * 7, [4] * 7)
    rolls = table["session"].le(5)
    walks = counted_walks(table.assign(captured_at=table["captured_at"].mask(rolls)))
    for name in ("kept", "presses"):
        assert walks[f"{name}_place"].tolist() == ["no_usual"] * 4 + ["usual"] + ["no_usual"] * 2
    unset = counted_walks(table.assign(in_preset=np.arange(len(table)) % 40 > 6))
    assert (unset["frames_taken"].tolist(), unset["unset"].tolist()) == ([40] * 7, [7] * 7)


def test_a_walk_not_chosen_from_is_unknown_and_never_worse(walked):
    """Six good walks; of the newest nobody kept anything yet."""
    table = walked([60] * 7, [20] * 6 + [0])
    newest = table["session"].eq(7)
    for rule, counted in (("auto", "left out"), ("not-kept", "not kept")):
        walks = counted_walks(
            table.assign(
                keeper=table["keeper"].mask(newest), counted_as=table["counted_as"].mask(newest, counted)
            ),
            rule,
        )
        assert walks["kept_of"].tolist() == [60] * 6 + [0]
        assert walks["kept_place"].iloc[-1] == ""
        assert np.isnan(walks["kept_share"].iloc[-1])
        assert walks["presses"].iloc[-1] == 60
    assert counted_walks(table).iloc[-1]["kept_place"] == "less", "none kept, as was said of each frame"


def test_shares_in_the_zone_are_put_back_to_all_frames(walked):
    """Half of the keepers were measured and a twentieth of the others; nine of ten keepers stood inside."""
    table = walked([400] * 2, [40] * 2)
    kept = table["keeper"].eq("yes").to_numpy()
    place = table.groupby(["session", "keeper"]).cumcount().to_numpy()
    known = place < np.where(kept, 20, 18)
    inside = place < np.where(kept, 18, 9)
    weighed = table.assign(
        subject_distance_m=np.where(known, 2.0, np.nan),
        sample_weight=np.where(known, np.where(kept, 2.0, 20.0), np.nan),
        in_zone=pd.array(np.where(known, inside, None), dtype="boolean"),
    )
    walks = counted_walks(weighed)
    assert_allclose(walks["zone_share"], (40 * 0.9 + 360 * 0.5) / 400)
    assert walks["zone_seen"].tolist() == [38, 38]
    assert (walks["zone_of"] == int(400**2 / (20 * 4 + 18 * 400))).all()


def test_a_walks_own_interval_is_wilsons_where_all_frames_are_known(walked):
    """Against statsmodels; frames that stand for others leave more open."""
    sm = pytest.importorskip("statsmodels.stats.proportion")
    table = walked([40, 30], [4, 3])
    known = np.arange(len(table)) % 2 == 0
    inside = np.arange(len(table)) % 6 < 2
    all_known = table.assign(subject_distance_m=2.0, in_zone=pd.array(inside, dtype="boolean"))
    walks = counted_walks(all_known)
    for place, n in enumerate((40, 30)):
        hits = int(inside[:40].sum() if place == 0 else inside[40:].sum())
        assert walks["zone_hits"].iloc[place] == hits
        wanted = sm.proportion_confint(hits, n, method="wilson")
        assert_allclose(walks.loc[place, ["zone_share_low", "zone_share_high"]].tolist(), wanted, rtol=1e-6)
    half = all_known.assign(
        subject_distance_m=np.where(known, 2.0, np.nan), sample_weight=np.where(known, 2.0, np.nan),
        in_zone=all_known["in_zone"].where(known),
    )  # fmt: skip
    width = [one["zone_share_high"] - one["zone_share_low"] for one in (walks, counted_walks(half))]
    assert (width[1] > 1.2 * width[0]).all()


def test_verdicts_and_distances_after_the_last_star_speak_for_the_walk(walked):
    """Of the newest walk a third is left out, of the one before all: sharp and zone need no mark."""
    table = walked([60, 60, 60], [6, 6, 6])
    place = np.arange(len(table)) % 60
    left_out = table["session"].eq(2) | (table["session"].eq(3) & (place >= 40))
    judged, yes = place % 3 == 0, np.where(place >= 40, place % 2 == 0, place % 4 == 0)
    table = table.assign(
        counted_as=table["counted_as"].mask(left_out, "left out"),
        keeper=table["keeper"].mask(left_out),
        sharp=pd.Series(np.where(judged, np.where(yes, "yes", "no"), None), dtype="str"),
        subject_distance_m=np.where(judged, 2.0, np.nan),
        in_zone=pd.array(np.where(judged, yes, None), dtype="boolean"),
    )
    walks = counted_walks(table)
    assert walks["sharp_seen"].tolist() == walks["zone_seen"].tolist() == [20, 20, 20]
    alone = counted_walks(table.assign(sharp=table["sharp"].mask(left_out & table["session"].eq(3))))
    assert alone["sharp_share"].iloc[2] < walks["sharp_share"].iloc[2]


@pytest.mark.slow
@pytest.mark.parametrize("rates", [(0.1, 0.1, 0.1), (0.03, 0.2, 0.2), (0.3, 0.05, 0.05), (0.3, 0.2, 0.05)])
def test_a_walks_shares_are_its_own_whatever_the_others_were_sampled_at(walked, rates):
    """Older walks, the marked half of the newest (8 of 10 in the zone) and the rest of it (3 of 10)."""
    rng = np.random.default_rng(3)
    table = walked([400] * 3, [0] * 3)
    newest = table["session"].eq(3).to_numpy()
    left_out = newest & (np.arange(len(table)) % 400 >= 200)
    rate = np.select([left_out, newest], [rates[2], rates[1]], rates[0])
    chance = np.select([left_out, newest], [0.3, 0.8], 0.5)
    zone, sharp = [], []
    for _ in range(30):
        inside, known, judged = rng.random(1200) < chance, rng.random(1200) < rate, rng.random(1200) < rate
        drawn = table.assign(
            counted_as=table["counted_as"].mask(left_out, "left out"),
            subject_distance_m=np.where(known, 2.0, np.nan),
            in_zone=pd.array(inside, "boolean"), sharp=pd.array(np.where(inside, "yes", "no"), "str"),
        )  # fmt: skip
        drawn["in_zone"], drawn["sharp"] = drawn["in_zone"].where(known), drawn["sharp"].where(judged)
        last = counted_walks(add_weights(drawn.assign(drawn=known | judged))).iloc[-1]
        zone.append(last["zone_share"])
        sharp.append(last["sharp_share"])
    assert np.mean(zone) == pytest.approx(0.55, abs=0.05)
    assert np.mean(sharp) == pytest.approx(0.55, abs=0.05)


def test_the_band_is_that_of_a_further_walk():
    """Against the same law summed by brute force: levels and spreads drawn, weighed by the walks before."""
    rng = np.random.default_rng(2)
    hits, n = np.array([6, 2, 9, 4, 7, 12]), np.array([60, 50, 70, 40, 66, 60])
    draws = 100_000
    level, spread = rng.uniform(-5.5, 0.5, draws), np.exp(rng.normal(np.log(0.7), 0.5, draws))
    luck = rng.standard_normal((draws, 16))
    chance = expit(level[:, None] + spread[:, None] * luck)
    weight = np.zeros(draws)
    for y, m in zip(hits[:5], n[:5], strict=True):
        weight += np.log(np.mean(chance**y * (1 - chance) ** (m - y), axis=1))
    weight = np.exp(weight - weight.max())
    level, spread = (v[rng.choice(draws, 200_000, p=weight / weight.sum())] for v in (level, spread))
    further = rng.binomial(60, expit(level + spread * rng.standard_normal(level.size)))
    usual = usual_shares(hits, n)
    low, high = 60 * usual.low.iloc[-1], 60 * usual.high.iloc[-1]
    assert abs(low - np.quantile(further, 0.05)) <= 1
    assert abs(high - np.quantile(further, 0.95)) <= 1
    assert np.isnan(usual.low[:4]).all()
    assert usual.place.tolist() == ["no_usual"] * 4 + ["usual", "usual"]
    assert usual_shares([*hits[:5], 35], n).place.iloc[-1] == "more"


@pytest.mark.slow
def test_what_is_better_than_19_of_20_is_so_in_at_most_one_of_20():
    """The last of 9 walks like those before it: simulated 250 times."""
    places = [usual_shares(d["kept"], d["kept_of"], 1).place.iloc[-1] for d in map(diary_of, range(250))]
    assert places.count("more") / 250 < 0.09
    assert places.count("less") / 250 < 0.09
    better = [usual_shares(d["kept"], d["kept_of"], 1).place.iloc[-1] for d in map(lucky_diary, range(40))]
    assert better.count("more") / 40 > 0.55


def diary_of(seed):
    return draw_diary(seed, DiaryWorld(walks=9))


def lucky_diary(seed):
    return draw_diary(seed, DiaryWorld(walks=9, harder=2.5))


def test_presses_are_held_against_students_t():
    usual = usual_counts([50, 70, 60, 90, 200])
    before = np.log([50, 70, 60, 90])
    half = student.ppf(0.95, 3) * before.std(ddof=1) * np.sqrt(1.25)
    assert_allclose(usual.high.iloc[-1], np.exp(before.mean() + half))
    assert usual.place.iloc[-1] == "more"


@pytest.mark.parametrize("presses", [12, 36, 37, 60, 100])
def test_walks_alike_in_presses_are_usual_as_is_one_press_more(presses):
    for walks in (5, 6, 7, 12):
        assert usual_counts([presses] * walks).place.iloc[-1] == "usual"
    assert usual_counts([presses] * 4 + [presses + 1]).place.iloc[-1] == "usual"
    before = usual_counts([presses] * 5)
    assert_allclose(np.log(before.high.iloc[-1] / presses), student.ppf(0.95, 3) * np.sqrt(1.25 / presses))
    assert usual_counts([presses] * 4 + [5 * presses]).place.iloc[-1] == "more"


def test_a_drawn_share_is_placed_as_it_reads():
    """Its count of effective frames is a whole number, the share is not: the share is what is shown."""
    rng = np.random.default_rng(0)
    places = set()
    for _ in range(60):
        of = rng.integers(8, 40, 7)
        share = np.clip(expit(1.2 + rng.normal(0, 0.8, 7)), 0, 1)
        usual = usual_shares(np.round(share * of), of, share=share).iloc[4:]
        for own, row in zip(share[4:], usual.itertuples(), strict=True):
            said = "more" if round(100 * own) > round(100 * row.high) else "usual"
            assert row.place == ("less" if round(100 * own) < round(100 * row.low) else said)
            places.add(row.place)
    assert places >= {"less", "usual"}


def test_the_line_is_that_of_a_library():
    rng = np.random.default_rng(3)
    value = rng.normal(0, 1, 17) + np.arange(17) * 0.1
    start, change, error = line_through(np.arange(17), value, np.ones(17))
    theirs = linregress(np.arange(17), value)
    assert_allclose([start, change / 16, error / 16], [theirs.intercept, theirs.slope, theirs.stderr])
    sm = pytest.importorskip("statsmodels.api")
    weight = rng.uniform(0.2, 1, 17)
    fit = sm.WLS(value, sm.add_constant(np.arange(17.0)), weight).fit()
    start, change, error = line_through(np.arange(17), value, weight)
    assert_allclose([start, change / 16, error / 16], [*fit.params, fit.bse[1]])


@pytest.mark.slow
def test_a_drift_is_said_where_there_is_one_and_hardly_where_there_is_none():
    """Forty walks: none drifts, one gets stricter by 1.5 logit, one meets people farther off."""
    said = {}
    for name, world in {
        "none": DiaryWorld(),
        "kept": DiaryWorld(stricter=-1.5),
        "distance": DiaryWorld(farther=0.5),
        "f_number": DiaryWorld(opener=-0.6),
    }.items():
        found = [[one for one in find_drifts(draw_diary(seed, world)) if one.shown] for seed in range(150)]
        said[name] = [{one.what for one in drifts} for drifts in found]
        for one in (one for drifts in found for one in drifts if one.what == name):
            assert (one.last < one.first) == (name != "distance")
            assert one.low < (one.last - one.first if name == "kept" else one.last / one.first) < one.high
    assert sum(map(bool, said["none"])) / 150 < 0.10
    for name in ("kept", "distance", "f_number"):
        assert sum(name in drifts for drifts in said[name]) / 150 > 0.65, name


def test_few_walks_drift_nowhere():
    assert find_drifts(draw_diary(1, DiaryWorld(walks=5))) == ()


def test_what_is_always_set_alike_never_drifts():
    """Means of many like numbers differ in the last bit."""
    rng = np.random.default_rng(0)
    for walks in list(range(6, 30)) * 10:
        presses = rng.integers(20, 90, walks)
        like = {"log_f_number": np.log(8.0), "vergence": 1 / 3.0, "log_distance": np.log(2.8)}
        means = {name: [np.bincount([0] * n, [v] * n)[0] / n for n in presses] for name, v in like.items()}
        table = pd.DataFrame({**means, "presses": 60, "kept": 0, "kept_of": presses, "zone_of": presses})
        assert not any(one.shown for one in find_drifts(table) if one.what != "kept")


def test_a_second_look_is_for_what_was_sharp_in_the_zone_and_passed_over(walked):
    table = walked([8], [1])
    sharp = ["yes", "yes", "no", None, None, "yes", "unsure", None]
    table = table.assign(
        sharp=pd.array(sharp, dtype="str"), blur_mm=[0.01, 0.03, 0.01, 0.02, 0.09, 0.02, 0.01, 0.01],
        in_zone=pd.array([True] * 7 + [False], dtype="boolean"), subject_distance_m=2.0,
    )  # fmt: skip
    assert second_look(count_frames(table), 1, 0.04) == ["F00005.JPG", "F00001.JPG", "F00003.JPG"]
    assert second_look(count_frames(table), 1, float("nan")) == ["F00005.JPG", "F00001.JPG"]
    assert second_look(count_frames(table), 2, 0.04) == []


def test_settings_and_distances_of_a_walk_are_means_over_its_presses(walked):
    """One walk of four presses, one of two; a burst counts once, and a distance as often as it stands for."""
    table = walked([4, 2], [1, 0], f_number=[4.0, 4, 8, 8, 8, 16], focus_distance_m=[2.0, 2, 4, 4, np.inf, 2])
    walks = counted_walks(table)
    assert_allclose(np.exp(walks["log_f_number"]), [np.sqrt(32), np.sqrt(128)])
    assert_allclose(walks["vergence"], [(0.5 + 0.5 + 0.25 + 0.25) / 4, 0.25])
    assert walks["log_distance"].isna().all()
    burst = counted_walks(table.assign(burst=[0, 1, 2, 2, 4, 5]))
    assert burst["presses"].tolist() == [3, 2]
    assert_allclose(burst["vergence"], [(0.5 + 0.5 + 0.25) / 3, 0.25])
    # of three not kept one is measured, so that it stands for three beside the one kept
    measured = table.assign(subject_distance_m=[2.0, 4.0, np.nan, np.nan, 3.0, 0.0])
    assert_allclose(counted_walks(measured)["log_distance"], [np.log(2 * 4**3) / 4, np.log(3)])


def test_frames_of_no_session_are_of_no_walk(walked):
    table = walked([4, 3], [1, 1])
    lost = table.assign(session=table["session"].mask(table.index == 6))
    walks = counted_walks(lost)
    assert walks[["presses", "kept", "kept_of"]].to_numpy().tolist() == [[4, 1, 4], [2, 1, 2]]


def test_a_drawn_share_counts_as_so_many_frames_as_it_is_worth(walked):
    """Of either preset's four frames two and one are known: they stand for 2, 2 and 4, worth 64 / 24."""
    table = walked([8], [0], subject_distance_m=2.0)
    inside = pd.array([True, False, True, None, None, None, None, None], dtype="boolean")
    preset = ["p", "p", "q", "q", "q", "p", "p", "q"]
    walk = counted_walks(table.assign(in_zone=inside, preset=preset)).iloc[0]
    assert walk["zone_share"] == pytest.approx(6 / 8)
    assert walk["zone_of"] == int(8**2 / (4 + 4 + 16))
    assert (walk["zone"], walk["zone_seen"], walk["zone_hits"]) == (round(0.75 * 2), 3, 2)
    every = counted_walks(table.assign(in_zone=[True] * 3 + [False] * 5)).iloc[0]
    assert (every["zone"], every["zone_of"], every["zone_seen"], every["zone_hits"]) == (3, 8, 8, 3)
    none = counted_walks(table).iloc[0]
    assert (none["zone"], none["zone_of"], none["zone_seen"], none["zone_hits"]) == (0, 0, 0, 0)
    assert np.isnan(none["zone_share"])


def test_a_second_look_takes_the_sharpest_of_a_burst_and_none_of_a_burst_that_was_kept(walked):
    table = walked([7], [0], burst=[1, 1, 2, 2, 3, 3, 4], in_zone=True, subject_distance_m=2.0,
                   blur_mm=[0.03, 0.02, 0.04, 0.01, 0.04, 0.05, 0.0401])  # fmt: skip
    table["counted_as"] = table["counted_as"].mask(table.index == 2, "keeper")
    assert second_look(count_frames(table), 1, 0.04) == ["F00001.JPG", "F00004.JPG"]


def test_keepers_are_placed_by_their_number_and_drawn_shares_as_they_read(walked):
    """Up to 40 of 150 are usual; 41 are one keeper more, and 27 per cent as well as 40 are."""
    kept = [20, 22, 19, 21, 20, 41]
    table = walked([150] * 6, kept, subject_distance_m=2.0)
    table["in_zone"] = pd.array(table["counted_as"] == "keeper", dtype="boolean")
    last = counted_walks(table).iloc[-1]
    assert (last["kept"], last["zone"], last["kept_of"], last["zone_of"]) == (41, 41, 150, 150)
    assert last["kept_high"] == last["zone_high"] == pytest.approx(40 / 150)
    assert (last["kept_place"], last["zone_place"]) == ("more", "usual")
