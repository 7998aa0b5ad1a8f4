"""Readings that disagree, cannot be, or came too soon, and cells apart. Limits: common practice unless a source stands beside."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from tests.tracker.rules.evidence_maker import NOON, charge, estimate, findings_of, of_run, only, pack, sure
from tracker.domain.results import EvidenceVote
from tracker.rules.readings import cell_spread, read_too_soon, reading_impossible, readings_disagree


def vote(kind: str, disagrees: bool = True, words: str = "390 mAh by itself") -> EvidenceVote:
    return EvidenceVote(kind=kind, used_ah=sure(0.39), weight=0.0, disagrees=disagrees, words=words)


def test_each_kind_that_disagrees_is_named_with_its_words() -> None:
    told = estimate(evidence=(vote("meter"), vote("charger", False), vote("usual_draw", words="")))
    meter, usual = findings_of(readings_disagree, of_run(told=told))
    assert meter.severity == "caution"
    assert meter.message.startswith(
        "The meter's count does not fit the other readings of this run. Namely: 390 mAh by itself. It counted for"
    )
    assert "correct the run" in meter.message
    assert usual.severity == "note"


def test_agreeing_or_no_evidence_gives_nothing() -> None:
    assert findings_of(readings_disagree, of_run(told=estimate(evidence=(vote("meter", False),)))) == []
    assert findings_of(readings_disagree, of_run()) == []


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"before_v": (4.17, 41.7)}, "Cell 2 was written down with 41.70 V before the run"),
        ({"after_v": (0.37, 3.7)}, ""),
        ({"after_v": (0.2, 3.7)}, "Cell 1 was written down with 0.20 V after the run"),
        ({"loaded_v": (12.0,)}, "The mean of the cells was written down with 6.00 V under load"),
        ({"before_v": (3.7, 3.7), "after_v": (3.7, 3.8)}, "Cell 2 rose from 3.70 V to 3.80 V"),
        ({"before_v": (7.4,), "after_v": (3.8, 3.8)}, "The mean of the cells rose from 3.70 V to 3.80 V"),
        ({"before_v": (3.7, 3.7), "after_v": (3.74, 3.6)}, ""),
        ({"after_v": (3.71,)}, "3.71 V was written down for the whole pack after the run, which is what one of its 2 cells would have"),
        ({"before_v": (4.2, 4.2), "loaded_v": (6.9,), "after_v": (7.4,)}, ""),
        ({"after_v": (3.7, 3.7)}, ""),
        ({}, ""),
    ],
)
def test_what_cannot_be(changes: dict[str, Any], words: str) -> None:
    found = findings_of(reading_impossible, of_run(**changes))
    assert bool(found) == bool(words)
    if words:
        assert words in found[0].message
        assert "do not charge" in found[0].message


def test_a_dead_nickel_cell_is_possible() -> None:
    assert findings_of(reading_impossible, of_run(pack("nimh", 2), after_v=(0.1, 1.2))) == []


def test_read_within_five_minutes_is_provisional() -> None:
    # University of Colorado LiFePO4 tests: 11 mV still missing after 1 min at 25 °C; Theuerkauf and Swan 2022: hours to settle.
    found = only(read_too_soon, of_run(after_v=(7.4,), rest_after_s=120.0))
    assert found.severity == "note"
    assert "The voltage after the run was read 2 min after load: it is provisional." in found.message
    soon_charged = of_run(before_v=(8.4,), before=charge(NOON - timedelta(minutes=3)))
    assert "before the run was read 3 min" in only(read_too_soon, soon_charged).message


def test_read_later_or_not_timed_or_not_read_at_all() -> None:
    for changes in ({"after_v": (7.4,), "rest_after_s": 300.0}, {"after_v": (7.4,)}, {"rest_after_s": 10.0}, {"rest_before_s": 10.0}):
        assert findings_of(read_too_soon, of_run(**changes)) == []
    assert findings_of(read_too_soon, of_run(before_v=(8.4,), rest_before_s=3600.0, before=charge(NOON - timedelta(minutes=3)))) == []


@pytest.mark.parametrize(
    ("chemistry", "changes", "fires"),
    [
        ("lipo", {"before_v": (4.20, 4.13)}, True),
        ("lipo", {"before_v": (4.20, 4.16)}, False),
        ("lipo", {"after_v": (3.80, 3.68), "rest_after_s": 1800.0}, True),
        ("lipo", {"after_v": (3.80, 3.77), "rest_after_s": 1800.0}, False),
        ("lipo", {"after_v": (3.80, 3.60), "rest_after_s": 60.0}, False),
        ("lipo", {"after_v": (3.80, 3.60)}, False),
        ("lipo", {"before_v": (4.20, 4.00), "rest_before_s": 60.0}, False),
        ("lipo", {"before_v": (8.2,)}, False),
        ("life", {"after_v": (3.31, 3.24), "rest_after_s": 3600.0}, True),
        ("nimh", {"before_v": (1.35, 1.30)}, False),
        ("nimh", {"before_v": (1.35, 1.20)}, True),
    ],
)
def test_cells_apart(chemistry: str, changes: dict[str, Any], fires: bool) -> None:
    found = findings_of(cell_spread, of_run(pack(chemistry), **changes))
    assert bool(found) == fires
    if fires:
        assert "Cell 2 stood" in found[0].message
        assert "below cell 1" in found[0].message
        assert found[0].severity == "caution"


def test_no_advice_to_balance_a_pack_that_must_not_be_charged() -> None:
    assert findings_of(cell_spread, of_run(after_v=(3.6, 3.2), rest_after_s=3600.0)) != []
    assert findings_of(cell_spread, of_run(after_v=(3.6, 0.9), rest_after_s=3600.0)) == []


def test_a_meters_count_beyond_the_pack_is_impossible() -> None:
    assert findings_of(reading_impossible, of_run(used_ah=4.0)) == []
    [found] = findings_of(reading_impossible, of_run(used_ah=9999.0))
    assert "9,999,000 mAh was written down for a pack of" in found.message
