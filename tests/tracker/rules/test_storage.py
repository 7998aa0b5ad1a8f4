"""Rested too low, standing full, left empty. Limits: 2.00 V rested from memory (Hendricks et al. 2020 for why); days common practice."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from tests.tracker.rules.evidence_maker import NOON, assessed, cell, charge, findings_of, of_pack, of_run, only, pack
from tracker.rules.storage import do_not_recharge, left_empty, standing_full, stood_full


def test_a_cell_rested_under_two_volts_is_taken_out_of_use() -> None:
    found = only(do_not_recharge, of_run(after_v=(3.6, 1.8), rest_after_s=3600.0))
    assert (found.rule, found.severity) == ("do-not-recharge", "stop")
    assert "Cell 2 stood at 1.80 V after the run, below the 2.00 V" in found.message
    assert "Do not charge it. Take it out of use." in found.message
    assert "recycling" in found.message
    assert found.source is not None
    assert "10.1149/1945-7111/ab697a" in found.source


@pytest.mark.parametrize("changes", [{"after_v": (3.6, 1.8)}, {"before_v": (3.6, 1.8)}, {"before_v": (2.4,)}])
def test_an_untimed_reading_still_stops(changes: dict[str, Any]) -> None:
    assert only(do_not_recharge, of_run(**changes)).severity == "stop"


def test_an_early_reading_asks_for_another_and_forbids_charging_before_it() -> None:
    found = only(do_not_recharge, of_run(after_v=(3.6, 1.8), rest_after_s=60.0))
    assert found.severity == "caution"
    assert "do not charge it before" in found.message


def test_enough_voltage_or_none_read() -> None:
    assert findings_of(do_not_recharge, of_run(before_v=(4.2, 4.2), after_v=(2.0, 3.0), rest_after_s=3600.0)) == []
    assert findings_of(do_not_recharge, of_run(loaded_v=(1.0, 1.0))) == []
    assert findings_of(do_not_recharge, of_run(pack("nimh"), after_v=(0.9, 1.2), rest_after_s=3600.0)) == []


def test_standing_full_more_than_three_days() -> None:
    found = only(standing_full, of_pack(charges=(charge(),), days_later=5))
    assert "stood full for 5 days" in found.message
    assert "3.75 V to 3.85 V a cell" in found.message
    assert found.source is not None
    assert "10.3390/batteries7020028" in found.source


def test_not_standing_full() -> None:
    assert findings_of(standing_full, of_pack(charges=(charge(),), days_later=3)) == []
    assert findings_of(standing_full, of_pack(charges=(charge(goal="storage"),), days_later=30)) == []
    assert findings_of(standing_full, of_pack(charges=(charge(),), runs=(assessed(NOON + timedelta(hours=1)),), days_later=5)) == []
    assert findings_of(standing_full, of_pack(charges=(charge(),), days_later=30, of=pack("lead", 6))) == []
    assert findings_of(standing_full, of_pack(charges=(charge(),))) == []
    assert findings_of(standing_full, of_pack(days_later=5)) == []


def test_often_left_full_is_a_note() -> None:
    weeks = [NOON + timedelta(weeks=week) for week in range(3)]
    charges = tuple(charge(week) for week in weeks)
    runs = tuple(assessed(week + timedelta(days=5)) for week in weeks)
    assert "3 times, 5 days at the longest" in only(stood_full, of_pack(runs, charges)).message
    assert findings_of(stood_full, of_pack(runs[:2], charges[:2])) == []
    assert findings_of(stood_full, of_pack(tuple(assessed(week + timedelta(hours=2)) for week in weeks), charges)) == []


def test_left_nearly_empty() -> None:
    low = (assessed(NOON, cell(1, "low", 0.12), cell(2, "fine", 0.3)),)
    found = only(left_empty, of_pack(low, days_later=4))
    assert "4 days with about 12 % left" in found.message
    assert "2.00 V is not to be charged" in found.message
    assert findings_of(left_empty, of_pack(low, days_later=0.5)) == []
    assert findings_of(left_empty, of_pack(low, charges=(charge(NOON + timedelta(hours=3)),), days_later=4)) == []
    assert findings_of(left_empty, of_pack((assessed(NOON, cell(1, None, None)),), days_later=4)) == []
    assert findings_of(left_empty, of_pack(days_later=4)) == []


def test_a_harmed_pack_is_never_told_to_be_charged() -> None:
    harmed = (assessed(NOON, cell(1, "damaging", 0.0, 2.4, 0.99)),)
    dead = (assessed(NOON, cell(1, "deep", 0.0), after_v=(1.5, 3.0)),)
    assert findings_of(left_empty, of_pack(harmed, days_later=4)) == []
    assert findings_of(left_empty, of_pack(dead, days_later=4)) == []
