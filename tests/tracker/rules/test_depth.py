"""Too deep: floors from the chemistry files. Check of the rule's words and severities against its own stated limits."""

from __future__ import annotations

from tests.tracker.rules.evidence_maker import cell, estimate, findings_of, of_run, only, pack
from tracker.rules.depth import into_the_reserve, too_deep


def test_a_damaged_cell_stops_and_is_named_with_its_voltage_floor_and_chance() -> None:
    found = only(too_deep, of_run(told=estimate(cell(1), cell(2, "damaging", 0.02, 2.71, 0.97))))
    assert (found.rule, found.severity, found.subject) == ("too-deep", "stop", "Tug 1")
    assert "Cell 2 almost certainly went under its floor of 3.00 V under load, at 2.71 V." in found.message
    assert "Cell 1" not in found.message
    assert "Do not charge it yet" in found.message
    assert found.message.count("maker's instructions") == 1
    assert "common practice" in found.why
    assert found.source is None  # the 3.00 V floor of a pouch cell is common practice, without a source


def test_deep_by_reserve_is_a_caution_and_says_what_was_left() -> None:
    found = only(too_deep, of_run(told=estimate(cell(1, "deep", 0.06, 3.3, 0.0), cell(2))))
    assert found.severity == "caution"
    assert "Cell 1 ended with about 6 % left, less than half the reserve of 20 %." in found.message


def test_deep_by_a_chance_of_the_floor_says_possibly() -> None:
    assert "Cell 1 possibly went under" in only(too_deep, of_run(told=estimate(cell(1, "deep", 0.15, None, 0.2), cell(2)))).message


def test_a_lowest_voltage_above_the_floor_is_not_given_as_one_below_it() -> None:
    said = only(too_deep, of_run(told=estimate(cell(1, "deep", 0.15, 3.24, 0.2), cell(2)))).message
    assert "Cell 1 possibly went under its floor of 3.00 V under load, though its lowest is put at 3.24 V." in said


def test_a_published_floor_carries_its_source() -> None:
    # GOST R IEC 952-1-93 clause 2.1.2: 1.67 V at 1 It for lead-acid.
    lead = only(too_deep, of_run(pack("lead", 6), estimate(cell(1, "damaging", 0.02, 1.5, 0.9))))
    assert "1.67 V" in lead.message
    assert lead.source is not None
    assert "IEC 952-1" in lead.source


def test_low_is_only_a_note_and_only_when_nothing_is_worse() -> None:
    low = estimate(cell(1, "low", 0.15), cell(2))
    assert only(into_the_reserve, of_run(told=low)).severity == "note"
    assert findings_of(too_deep, of_run(told=low)) == []
    assert findings_of(into_the_reserve, of_run(told=estimate(cell(1, "low"), cell(2, "deep", 0.05)))) == []


def test_fine_and_unknown_cells_give_nothing() -> None:
    for told in (estimate(cell(1), cell(2)), estimate(cell(1, None, None, None, None))):
        assert findings_of(too_deep, of_run(told=told)) == []
        assert findings_of(into_the_reserve, of_run(told=told)) == []
