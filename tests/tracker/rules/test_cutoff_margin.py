"""Cutoffs against the floor. The two-cell example (5.0 V nickel, 6.4…6.5 V lithium) is common practice, without a source."""

from __future__ import annotations

import pytest

from tests.tracker.rules.evidence_maker import controller, findings_of, of_run, only, pack
from tracker.rules.cutoff_margin import cutoff_under_floor, no_cutoff


def test_a_nickel_cutoff_on_a_two_cell_lithium_pack_stops() -> None:
    found = only(cutoff_under_floor, of_run(controllers=(controller(5.0),)))  # common practice: just over 5.0 V
    assert (found.rule, found.severity, found.subject) == ("cutoff-under-floor", "stop", "Tug motor")
    for words in ("5.00 V for the pack, 2.50 V a cell", "3.00 V a cell, 6.00 V for this pack", "nickel"):
        assert words in found.message


@pytest.mark.parametrize("cutoff_v", [6.0, 6.4, 6.5])
def test_a_lithium_cutoff_is_fine(cutoff_v: float) -> None:
    assert findings_of(cutoff_under_floor, of_run(controllers=(controller(cutoff_v),))) == []  # common practice: 6.4…6.5 V


def test_a_little_under_the_floor_is_a_caution_without_talk_of_nickel() -> None:
    found = only(cutoff_under_floor, of_run(controllers=(controller(5.8),)))
    assert found.severity == "caution"
    assert "nickel packs" not in found.message


def test_a_cell_cutoff_is_not_divided_by_the_cells() -> None:
    assert findings_of(cutoff_under_floor, of_run(controllers=(controller(3.2, "cell_v"),))) == []
    assert "2.80 V a cell" in only(cutoff_under_floor, of_run(controllers=(controller(2.8, "cell_v"),))).message


def test_what_was_driven_counts_not_what_stands_now() -> None:
    assert findings_of(cutoff_under_floor, of_run(controllers=(controller(5.0),), cutoff_v=(6.4,))) == []
    assert only(cutoff_under_floor, of_run(controllers=(controller(6.4),), cutoff_v=(5.0,))).severity == "stop"


def test_of_two_controllers_the_one_under_the_floor_is_named_and_the_lowest_said_to_decide() -> None:
    both = (controller(6.4, name="Left"), controller(5.0, name="Right"))
    found = only(cutoff_under_floor, of_run(controllers=both))
    assert found.subject == "Right"
    assert "lowest of the cutoffs decides" in found.message


def test_settings_without_known_controllers_are_judged_too() -> None:
    found = only(cutoff_under_floor, of_run(cutoff_v=(5.0,)))
    assert found.subject == "Tug 1"
    assert found.message.startswith("Controller 1 lets go at 5.00 V for the pack")
    assert "2.80 V a cell;" in only(cutoff_under_floor, of_run(cutoff_v=(2.8,))).message


def test_the_same_five_volts_are_right_for_a_five_cell_nickel_pack() -> None:
    assert findings_of(cutoff_under_floor, of_run(pack("nimh", 5), controllers=(controller(5.0),))) == []
    assert only(cutoff_under_floor, of_run(pack("nimh", 6), controllers=(controller(5.0),))).severity == "caution"


def test_no_cutoff_is_a_caution_unless_an_alarm_ended_the_run() -> None:
    none = (controller(None, "none"),)
    assert only(no_cutoff, of_run(controllers=none, ended_by="driver")).severity == "caution"
    assert findings_of(no_cutoff, of_run(controllers=none, ended_by="alarm")) == []
    assert findings_of(cutoff_under_floor, of_run(controllers=none)) == []


def test_nothing_known_of_controllers_says_nothing() -> None:
    assert findings_of(cutoff_under_floor, of_run()) == []
    assert findings_of(no_cutoff, of_run()) == []
