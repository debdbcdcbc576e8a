"""Drawing frames by chance: who is drawn, what each stands for, and what the weights are good for."""

import hashlib

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner
from worlds.stated import ARCADE_ON

from auditor.frames import with_columns
from auditor.intake.assembling import read_archive
from auditor.intake.sampling import allocate, draw_sample, sample_as_csv
from auditor.settings import Request

SESSION = f"""
[[camera]]
sensor = "36x24"
{ARCADE_ON}"""


def frames(**counts):
    """A table with so many frames of each preset and mark, such as ``arcade_keeper=10``."""
    rows = []
    for name, count in counts.items():
        preset, mark = name.split("_")
        marked = {"keeper": "keeper", "not": "not kept", "out": "left out"}[mark]
        rows += [{"preset": preset, "counted_as": marked, "in_preset": True}] * count
    table = pd.DataFrame(rows)
    table["file"] = [f"P{i:07d}.jpg" for i in range(len(table))]
    return with_columns(table)


# --- who is drawn ------------------------------------------------------------------------------------


def test_half_goes_to_each_mark_and_within_it_by_the_square_root():
    # By hand: 30 draws to each mark. Keepers: roots of 16 and 64 are 4 and 8, so 10 and 20.
    # Not kept: roots of 400 and 1600 are 20 and 40, so 10 and 20.
    assert allocate([16, 64, 400, 1600], [0, 0, 1, 1], 60) == [10, 20, 10, 20]


@pytest.mark.parametrize(("n", "taken"), [(2, [1, 1]), (3, [1, 2]), (4, [1, 3]), (10, [3, 7]), (60, [9, 49])])
def test_draws_are_rounded_to_the_nearest(n, taken):
    """Of four draws 9 and 49 frames are owed 1.2 and 2.8, by their roots 3 and 7; and none beyond all."""
    assert allocate([9, 49], [0, 0], n) == taken


@pytest.mark.parametrize("n", [1, 4, 5, 60, 500, 10_000])
def test_as_many_are_drawn_as_asked_and_there_are_each_once(n):
    table = frames(arcade_keeper=9, arcade_not=211, gate_keeper=2, gate_not=78)
    sample = draw_sample(table, n)
    assert len(sample.rows) == len(set(sample.rows.tolist())) == min(n, 300)
    assert sample.weights.sum() == pytest.approx(300, rel=1e-9)
    assert (sample.weights >= 1 - 1e-12).all()


def test_every_stratum_is_drawn_from_and_its_weights_add_up_to_its_frames():
    table = frames(arcade_keeper=9, arcade_not=211, gate_keeper=2, gate_not=78)
    sample = draw_sample(table, 40)
    drawn = table.iloc[sample.weighted_rows].assign(weight=sample.weights)
    totals = drawn.groupby(["preset", "counted_as"])["weight"].sum()
    assert totals.round(9).to_dict() == {
        ("arcade", "keeper"): 9,
        ("arcade", "not kept"): 211,
        ("gate", "keeper"): 2,
        ("gate", "not kept"): 78,
    }


def test_a_seed_draws_the_same_frames_again_and_another_seed_others():
    table = frames(arcade_keeper=20, arcade_not=200)
    first = draw_sample(table, 30, seed=1).rows.tolist()
    assert draw_sample(table, 30, seed=1).rows.tolist() == first
    assert draw_sample(table, 30, seed=2).rows.tolist() != first


@pytest.mark.slow
def test_each_frame_of_a_stratum_is_as_likely():
    table = frames(arcade_keeper=10, arcade_not=40)
    times = np.zeros(50)
    for seed in range(600):
        times[draw_sample(table, 10, seed).rows] += 1
    # 5 of 10 and 5 of 40; binomial sd at 600 draws is 12 and 8, four and a half allowed.
    np.testing.assert_allclose(times[:10], 300, atol=55)
    np.testing.assert_allclose(times[10:], 75, atol=37)


@pytest.mark.slow
def test_the_order_says_nothing_of_the_mark():
    table = frames(arcade_keeper=100, arcade_not=100)
    first = [draw_sample(table, 20, seed).rows[0] < 100 for seed in range(400)]
    assert np.mean(first) == pytest.approx(0.5, abs=0.1)  # four standard deviations of a fair coin


def test_frames_with_a_distance_are_not_drawn_and_stand_for_themselves():
    table = frames(arcade_keeper=20, arcade_not=180)
    table.loc[:9, "subject_distance_m"] = 2.0
    sample = draw_sample(table, 30)
    assert not set(sample.rows.tolist()) & set(range(10))
    assert (sample.population, sample.with_distance, sample.drawn_before) == (200, 10, 0)
    assert sample.weights.sum() == pytest.approx(190, rel=1e-9)


def test_a_second_sample_shares_the_weights_with_the_first():
    table = frames(arcade_keeper=20, arcade_not=180)
    first = draw_sample(table, 20, seed=1)
    table.loc[first.weighted_rows, "sample_weight"] = first.weights
    table.loc[first.rows[:15], "subject_distance_m"] = 2.0
    second = draw_sample(table, 20, seed=2)
    assert not set(second.rows.tolist()) & set(first.rows.tolist())
    assert (second.with_distance, second.drawn_before) == (15, 5)
    assert sorted(second.weighted_rows.tolist()) == sorted(first.rows.tolist() + second.rows.tolist())
    assert second.weights.sum() == pytest.approx(200, rel=1e-9)


def test_frames_that_do_not_count_are_drawn_only_where_none_counts():
    table = frames(arcade_keeper=5, arcade_not=25, arcade_out=70)
    sample = draw_sample(table, 100)
    assert (len(sample.rows), sample.population) == (30, 30)
    assert draw_sample(frames(arcade_out=70), 100).population == 70
    nothing_known = with_columns(pd.DataFrame({"file": ["a", "b"]}))
    assert sorted(draw_sample(nothing_known, 5).rows.tolist()) == [0, 1]


def test_a_roll_or_a_walk_without_marks_is_drawn_beside_marked_ones():
    """Session 1 is marked; 2 a roll without settings, 3 a walk not chosen from, 4 autofocused."""
    parts = [frames(a_keeper=5, a_not=45, a_out=20), frames(b_out=36), frames(a_out=50), frames(a_not=30)]
    table = pd.concat(parts, ignore_index=True).assign(session=np.repeat([1, 2, 3, 4], [70, 36, 50, 30]))
    own = table["session"].eq(2)
    setting = {"focal_length_mm": 28.0, "f_number": 8.0, "focus_distance_m": 2.5}
    table = table.assign(
        in_preset=table["session"].isin([1, 3]), **{k: np.where(own, np.nan, v) for k, v in setting.items()}
    )
    sample = draw_sample(table, 10_000)
    drawn = table.iloc[sample.rows].groupby("session").size()
    assert drawn.to_dict() == {1: 50, 2: 36, 3: 50}
    assert table.iloc[draw_sample(table, 60).rows].groupby("session").size().min() >= 5


def test_nothing_left_and_nonsense():
    table = frames(arcade_keeper=2)
    table["subject_distance_m"] = 2.0
    assert len(draw_sample(table, 5).rows) == 0
    with pytest.raises(ValueError, match="above 0"):
        draw_sample(table, 0)


@pytest.mark.slow
def test_the_weights_undo_the_choice_of_frames():
    # A population where kept frames are nearer: the weighted mean of drawn frames is the population's mean
    # (Horvitz & Thompson 1952); the plain mean is not.
    rng = np.random.default_rng(3)
    table = frames(arcade_keeper=40, arcade_not=760)
    distance = np.where(table["counted_as"] == "keeper", rng.normal(2, 0.3, 800), rng.normal(4, 0.8, 800))
    weighted, plain = [], []
    for seed in range(300):
        sample = draw_sample(table, 60, seed)
        weighted.append(np.average(distance[sample.weighted_rows], weights=sample.weights))
        plain.append(distance[sample.rows].mean())
    assert np.mean(weighted) == pytest.approx(distance.mean(), rel=0.01)
    assert np.mean(plain) < 0.85 * distance.mean()


# --- what is written, and read back ------------------------------------------------------------------


def test_weights_are_written_with_names_that_no_spreadsheet_runs():
    table = frames(arcade_keeper=2, arcade_not=2)
    table.loc[0, "file"] = "=1+1.jpg"
    assert "'=1+1.jpg,1" in sample_as_csv(table, draw_sample(table, 4))


def test_frames_that_nobody_has_answered_come_again_in_the_same_order():
    table = frames(arcade_keeper=20, arcade_not=180)
    first = draw_sample(table, 30, seed=1)
    table.loc[first.weighted_rows, "sample_weight"] = first.weights
    waiting = table["sample_weight"].notna().to_numpy().copy()
    again = draw_sample(table, 30, seed=1, waiting=waiting)
    assert again.rows.tolist() == first.rows.tolist()
    assert sample_as_csv(table, again) == sample_as_csv(table, first)
    assert (again.again, again.drawn_before) == (30, 0)
    waiting[first.rows[:10]] = False  # ten were answered
    table.loc[first.rows[:10], "subject_distance_m"] = 2.0
    third = draw_sample(table, 30, seed=1, waiting=waiting)
    assert set(first.rows[10:].tolist()) < set(third.rows.tolist())
    assert (len(third.rows), third.again, third.with_distance) == (30, 20, 10)
    assert not set(third.rows.tolist()) & set(first.rows[:10].tolist())


def test_of_a_draw_only_what_is_still_worth_asking_comes_again_and_the_counts_add_up():
    """Twenty frames were drawn before a preset was stated for all but the first six."""
    table = frames(arcade_keeper=10, arcade_not=10).assign(sample_weight=1.0)
    table["in_preset"] = np.arange(20) >= 6
    table.loc[6:9, "subject_distance_m"] = 2.0
    answered = np.isin(np.arange(20), [0, 1, 10, 11, 12])  # a share without a lens, or nobody to measure
    waiting = table["subject_distance_m"].isna().to_numpy() & ~answered
    sample = draw_sample(table, 60, waiting=waiting)
    assert sorted(sample.rows.tolist()) == list(range(13, 20))
    assert (sample.population, sample.with_distance, sample.drawn_before, sample.again) == (14, 4, 3, 7)
    assert sample.weights.sum() == pytest.approx(14, rel=1e-9)


def test_sample_weights_are_read_beside_the_notes(walk):
    folder = walk(4)
    (folder / "notes.csv").write_text("file,subject_distance\nP1010001,2m\nP1010003,3m\n")
    (folder / "sample.csv").write_text(
        "file,sample_weight\nP1010001,1.5\nP1010003.jpg,2.5\nP1019999,1\nP1010002,-1\n"
    )
    archive = read_archive(Request((folder,)))
    np.testing.assert_allclose(archive.table["sample_weight"], [1.5, np.nan, 2.5, np.nan])
    text = "\n".join(f"{p.file}: {p.what}" for p in archive.problems)
    assert f"{folder / 'sample.csv'}, line 4: There is no frame 'P1019999'." in text
    assert "line 5: sample_weight: '-1' is not a weight." in text
    assert len(archive.problems) == 2


@pytest.fixture
def run(tmp_path, monkeypatch):
    from auditor.cli import make_app

    monkeypatch.chdir(tmp_path)

    def go(*words):
        result = CliRunner().invoke(make_app(), [*map(str, words), "--cache", "off"])
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result

    return go


def digest(folder):
    return {
        path.name: (path.stat().st_mtime_ns, hashlib.sha256(path.read_bytes()).hexdigest())
        for path in folder.rglob("*")
    }


def test_prepare_draws_writes_and_reads_its_own_sample_back(run, walk, tmp_path):
    folder = walk(12, rating=["3" if i % 4 == 1 else "-1" for i in range(12)], size=(36, 24))
    (folder / "session.toml").write_text(SESSION)
    before = digest(folder)
    done = run("prepare", folder, "--distances", 6)
    assert done.exit_code == 0, done.stderr
    out = tmp_path / "audit-notes"
    names = ["session.toml", "notes.csv", "sample.csv", "sheet.html", "source.txt"]
    assert done.stdout.split() == [f"audit-notes/{name}" for name in names]
    assert "6 frames drawn by chance (seed 0) from 12. Of the 12, 0 had a distance already.\n" in done.stderr
    assert "12 frames from P1010001, body A: 28 mm, f/8, focus at 2.5 m." in done.stderr
    assert digest(folder) == before
    assert (out / "source.txt").read_text() == "../walk\n"
    told = (out / "sheet.html").read_text() + (out / "notes.csv").read_text()
    for word in ("keeper", "not kept", "rating", "sample_weight"):
        assert word not in told
    # Fill in one share and run again: the distance by hand is that of test_shares, and it is not drawn again.
    rows = (out / "notes.csv").read_text().splitlines()
    name = rows[1].split(",")[0]
    (out / "notes.csv").write_text(f"file,standing_share\n{name},50%\n")
    again = run("prepare", folder, "--distances", 6)
    assert "Of the 12, 1 had a distance already. Of the 6 drawn, 5 were drawn before and wait" in again.stderr
    assert (out / "notes.csv.before").read_text() == f"file,standing_share\n{name},50%\n"
    archive = read_archive(Request((folder,), outer_notes=out / "notes.csv"))
    assert archive.problems == []
    known = archive.table.set_index("file")["subject_distance_m"]
    assert known[name] == pytest.approx(4.0050, abs=1e-4)
    assert archive.table["sample_weight"].sum() == pytest.approx(12, rel=1e-9)
    assert f"{name}," in (out / "notes.csv").read_text()


def test_nothing_of_a_persons_is_lost_and_what_is_equal_is_not_written_again(run, walk, tmp_path):
    folder = walk(6, rating="3")
    out = tmp_path / "audit-notes"
    out.mkdir()
    (out / "sample.csv").write_text("mine")
    assert run("prepare", folder, "--distances", 3).exit_code == 0
    assert (out / "sample.csv.before").read_text() == "mine"
    assert run("prepare", folder, "--distances", 3).stdout == ""
    assert run("prepare", folder, "--distances", 4).exit_code == 0
    assert (out / "sample.csv.before-2").exists()


def test_a_picture_that_cannot_be_shown_is_said_and_the_rest_goes_on(run, walk, packet, tmp_path):
    folder = walk(2, rating="3")
    (folder / "P1010003.dng").write_bytes(b"not a picture")
    (folder / "P1010003.xmp").write_bytes(packet(3))
    done = run("prepare", folder, "--distances", 9)
    assert done.exit_code == 0, done.stderr
    assert "3 frames drawn" in done.stderr
    data = (tmp_path / "audit-notes" / "sheet.html").read_text()
    assert '"file": "P1010003.dng", "name": "P1010003.dng", "src": null, "preview": null' in data


def test_when_every_frame_has_a_distance_the_rest_is_still_laid_out(run, walk, tmp_path):
    folder = walk(2, rating="3")
    (folder / "notes.csv").write_text("file,subject_distance\nP1010001,2m\nP1010002,3m\n")
    done = run("prepare", folder, "--distances", 9)
    assert done.exit_code == 0
    assert "Nothing is left to draw" in done.stderr
    assert (tmp_path / "audit-notes" / "sheet.html").exists(), "what was set is still to be said"


def test_without_a_sample_there_is_no_sheet(run, walk, tmp_path):
    done = run("prepare", walk(3), "--distances", 0)
    assert done.exit_code == 0
    assert sorted(path.name for path in (tmp_path / "audit-notes").iterdir()) == [
        "notes.csv", "session.toml", "source.txt", "written.json",
    ]  # fmt: skip


def test_a_default_folder_among_the_photographs_is_refused_with_the_command_to_use(run, walk, monkeypatch):
    folder = walk(2, rating="3")
    monkeypatch.chdir(folder)
    done = run("prepare", ".", "--distances", 9)
    assert done.exit_code == 1
    assert "auditor prepare . --out" in done.stderr


def test_a_walk_that_set_no_zone_is_drawn_from_its_marked_frames():
    """Whose settings are all known, and none of whose frames lies in a preset."""
    table = frames(arcade_keeper=4, arcade_out=5)
    table[["in_preset", "focal_length_mm", "f_number", "focus_distance_m"]] = False, 28.0, 8.0, 2.5
    sample = draw_sample(with_columns(table), 9)
    assert sorted(sample.rows.tolist()) == [0, 1, 2, 3]
    assert sample.population == 4


def test_as_many_draws_as_strata_give_one_to_each_and_a_single_one_goes_to_the_largest():
    assert allocate([1600, 100], [0, 0], 1) == [1, 0]
    assert allocate([100, 1600], [0, 0], 1) == [0, 1]
    table = frames(arcade_keeper=5, arcade_not=50, gate_keeper=5, gate_not=50)
    for seed in range(8):
        drawn = table.iloc[draw_sample(table, 4, seed).rows]
        assert len(drawn[["preset", "counted_as"]].drop_duplicates()) == 4
