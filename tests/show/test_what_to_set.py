"""What to set is one and the same in the headline, the picture and the card, and commands can be repeated."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from auditor.advice.decide import Decisions
from auditor.advice.paired import Setting
from auditor.journey import Audit, run_audit
from auditor.settings import Request
from auditor.show.decided import gather_decision, presets_of
from auditor.show.page.chips import chips_of
from auditor.show.words import next_time


@pytest.fixture
def decided_as(walked: Audit) -> Callable[..., Audit]:
    """The audit with another decision on its first lens."""

    def decided(**changes: object) -> Audit:
        first, *others = walked.decisions.lenses
        first = replace(first, decision=replace(first.decision, setting=None, **changes))  # type: ignore[arg-type]
        return replace(walked, decisions=Decisions((first, *others)))

    return decided


def shown(audit: Audit) -> tuple[str, list[str]]:
    lens = audit.decisions.lenses[0].lens
    decided = gather_decision(audit, lens)
    chips = chips_of(audit, 0, presets_of(audit, lens), decided)
    return next_time.headline(decided), [chip.label for chip in chips if chip.now]


def test_settings_that_cannot_be_told_apart_are_shown_at_the_present_one_where_they_hold_it(
    decided_as: Callable[..., Audit], walked: Audit
) -> None:
    lens = walked.decisions.lenses[0].lens
    now = gather_decision(walked, lens).now
    assert now is not None
    own, other = Setting(now.f_number, now.focus_distance_m), Setting(16.0, 4.0)
    audit = decided_as(kind="latitude", latitude=(other, own))
    decided = gather_decision(audit, lens)
    assert decided.stays
    assert decided.to_set == now
    assert "Now mostly" not in next_time.instead(decided)
    audit = decided_as(kind="latitude", latitude=(other, Setting(11.0, 4.0)))
    decided = gather_decision(audit, lens)
    assert not decided.stays
    assert decided.to_set is not None
    assert decided.to_set.is_at(16.0, 4.0)
    assert decided.to_set.near_limit_m < 4.0 < decided.to_set.far_limit_m
    assert f"Now mostly {next_time.setting_name(now, 'm')}." in next_time.instead(decided)
    headline, (label,) = shown(audit)
    assert headline.startswith("Anything from f/11 to f/16, ring on 4 m")
    assert label == "as advised · f/16, 4 m"


def test_a_change_to_what_is_set_mostly_is_to_keep_to_it(walked: Audit) -> None:
    lens = walked.decisions.lenses[0].lens
    decided = gather_decision(walked, lens)
    assert decided.weighed is not None
    assert decided.now is not None
    own = Setting(decided.now.f_number, decided.now.focus_distance_m)
    habit = ((own, 0.6), (Setting(2.8, 1.2), 0.4))
    decision = replace(decided.weighed.decision, kind="change", setting=own, gain_ratio=1.4,
                       gain_low=1.2, gain_high=1.6)  # fmt: skip
    weighed = replace(decided.weighed, decision=decision, habit=habit)
    said = replace(decided, weighed=weighed, to_set=decided.now)
    name = next_time.setting_name(own, "m")
    assert next_time.headline(said) == f"Keep the {lens} at {name}, all the time"
    instead = next_time.instead(said)
    assert instead.startswith(f"Now mostly {name} (60 of 100 presses). Against all your settings together")
    assert "keeping to it promises 40 % more" in instead


def test_a_setting_at_which_nothing_is_sharp_has_no_picture(walked: Audit) -> None:
    """Motion alone may take all that an eye bears: then there is no zone to draw."""
    lens = walked.decisions.lenses[0].lens
    decided = gather_decision(walked, lens)
    assert decided.now is not None
    nan = float("nan")
    blurred = replace(decided.now, f_number=2.0, focus_distance_m=9.0, near_limit_m=nan, far_limit_m=nan)
    chips = chips_of(walked, 0, presets_of(walked, lens), replace(decided, to_set=blurred))
    assert chips
    assert not any(chip.label.startswith("as advised") for chip in chips)


def test_commands_to_repeat_hold_all_that_was_stated(
    frames_of: Callable[..., pd.DataFrame], tmp_path: Path
) -> None:
    source, session = tmp_path / "frames.csv", tmp_path / "own.toml"
    frames_of(40).to_csv(source, index=False)
    session.write_text('[[lens]]\nname = "28 mm"\nfocal_length = "28 mm"\n')
    audit = run_audit(Request((source,), session_file=session, workers=1))
    assert audit.sources == (str(source), "--session", str(session))
    assert run_audit(Request((source,), workers=1)).sources == (str(source),)
