"""What a bench test gives cause to say: one case that does, one just beside it that does not, one with too little to go on."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import pytest

from tests.tracker.rules.evidence_maker import NOON, UNTOLD, controller, pack, sure
from tracker.chemistry import load, names
from tracker.domain.bench import BenchResult, EarlierTrip
from tracker.domain.controller import Controller
from tracker.domain.pack import Pack
from tracker.domain.results import SEVERITIES, Finding, NotEnough
from tracker.rules import BENCH_RULES, bench, bench_findings
from tracker.rules.evidence import BenchEvidence

TRIP, RESTART = sure(6.43, 0.02), sure(6.92, 0.02)


def result(**changes: Any) -> BenchResult:
    """A controller altered for two lithium cells, tested well."""
    told: dict[str, Any] = {
        "controller": "Tug motor",
        "tested_at": NOON,
        "trip_v": TRIP,
        "restart_v": RESTART,
        "hysteresis_v": sure(0.49, 0.02),
        "spread_v": 0.01,
        "drift_v": sure(0.0, 0.02),
        "trips": 5,
        "restarts": 5,
        "restless": 0,
        "latches": False,
        "lowest_v": 6.4,
        "highest_v": 7.0,
        "stayed_off_v": None,
        "step_v": 0.05,
    }
    return BenchResult(**{**told, **changes})


SET_RIGHT = controller(6.4)


def evidence(*packs: Pack, of: Controller | None = SET_RIGHT, beside: tuple[BenchResult, ...] = (), **changes: Any) -> BenchEvidence:
    on = packs or (pack(),)
    return BenchEvidence(result=result(**changes), controller=of, packs=tuple((each, load(each.chemistry)) for each in on), beside=beside)


def said(rule: Callable[[BenchEvidence], Any], *packs: Pack, **changes: Any) -> list[Finding]:
    answer = rule(evidence(*packs, **changes))
    if answer is None or isinstance(answer, Finding):
        return [] if answer is None else [answer]
    assert isinstance(answer, Iterable)
    return list(answer)


def test_never_trips() -> None:
    [finding] = said(bench.never_trips, trip_v=NotEnough("It never let go."), trips=0)
    assert finding.severity == "caution"
    assert said(bench.never_trips) == []


def test_a_nickel_trip_on_lithium_stops() -> None:
    [finding] = said(bench.trips_under_floor, pack(), pack(name="Tug 2"), trip_v=sure(5.06))
    assert finding.severity == "stop"
    assert "Tug 1 and Tug 2" in finding.message
    assert "2.53" in finding.message
    [finding] = said(bench.trips_under_floor, trip_v=sure(5.9))
    assert finding.severity == "caution"
    assert said(bench.trips_under_floor, trip_v=sure(6.0)) == []
    assert said(bench.trips_under_floor) == []
    assert said(bench.trips_under_floor, pack("nimh", 5), trip_v=sure(5.06)) == []
    assert said(bench.trips_under_floor, trip_v=UNTOLD) == []
    assert list(bench.trips_under_floor(BenchEvidence(result=result(trip_v=sure(5.06))))) == []


def test_each_kind_of_pack_is_judged_by_itself() -> None:
    found = said(bench.trips_under_floor, pack(), pack("lipo", 3, name="Tug 3"), pack("life", 2, name="Tug 4"))
    assert [finding.severity for finding in found] == ["stop"]
    assert "Tug 3" in found[0].message


def test_a_controller_that_counts_cells_is_judged_by_the_cells_it_counted() -> None:
    per_cell = controller(2.9, "cell_v")
    [finding] = said(bench.trips_under_floor, pack("lipo", 3), of=per_cell, trip_v=sure(5.84))
    assert finding.severity == "caution"
    assert "2.92" in finding.message
    assert said(bench.off_its_setting, pack("lipo", 3), of=per_cell, trip_v=sure(5.84)) == []
    assert said(bench.trips_under_floor, of=controller(None, "cell_v"), trip_v=sure(5.0)) == []


def test_the_lowest_of_several_decides() -> None:
    left = result(controller="Left", trip_v=sure(5.06))
    [finding] = said(bench.other_lets_go_lower, beside=(left,))
    assert "Left in the same model lets go at 5.06" in finding.message
    for other in (sure(6.41), sure(7.0), UNTOLD):
        assert said(bench.other_lets_go_lower, beside=(replace(left, trip_v=other),)) == []


def test_trip_against_setting() -> None:
    [finding] = said(bench.off_its_setting, of=controller(6.6))
    assert finding.severity == "caution"
    assert "0.17 V lower" in finding.message
    [finding] = said(bench.off_its_setting, of=controller(6.2))
    assert finding.severity == "note"
    assert said(bench.off_its_setting, of=controller(6.45)) == []
    assert said(bench.off_its_setting, of=controller(6.6), trip_v=sure(6.43, 0.2)) == []
    assert said(bench.off_its_setting, of=None) == []
    assert said(bench.off_its_setting, trip_v=UNTOLD) == []
    [finding] = said(bench.off_its_setting, of=controller(None, "none"))
    assert finding.rule == "bench-setting-not-stored"


def test_moved_since_the_test_before() -> None:
    [finding] = said(bench.moved_since, earlier=(EarlierTrip(tested_at=NOON, trip_v=sure(6.6)),))
    assert finding.severity == "caution"
    assert said(bench.moved_since, earlier=(EarlierTrip(tested_at=NOON, trip_v=sure(6.45)),)) == []
    assert said(bench.moved_since, earlier=(EarlierTrip(tested_at=NOON, trip_v=UNTOLD),)) == []
    assert said(bench.moved_since) == []


def test_wandering_repeats() -> None:
    [finding] = said(bench.wanders, drift_v=sure(-0.2, 0.02))
    assert "down by 0.20 V" in finding.message
    assert said(bench.wanders, drift_v=sure(-0.06, 0.02)) == []
    assert said(bench.wanders, drift_v=UNTOLD) == []


def test_chatter() -> None:
    [finding] = said(bench.chatters, restless=1)
    assert "over one sweep" in finding.message
    [finding] = said(bench.chatters, hysteresis_v=sure(0.03))
    assert "0.03" in finding.message
    assert said(bench.chatters, hysteresis_v=sure(0.2)) == []
    assert said(bench.chatters, hysteresis_v=sure(0.0, 0.2)) == []  # known too loosely
    assert said(bench.chatters, hysteresis_v=UNTOLD) == []


def test_a_restart_that_a_rested_pack_passes() -> None:
    """A lithium cell rests near 3.7 V with a fifth left: it passes 6.92 V on two cells, not 7.8 V."""
    [finding] = said(bench.runs_again)
    assert finding.severity == "note"
    assert "3.46" in finding.message
    assert said(bench.runs_again, restart_v=sure(7.8)) == []
    assert said(bench.runs_again, restart_v=UNTOLD) == []


def test_one_that_stays_off() -> None:
    [finding] = said(bench.latches, latches=True, stayed_off_v=7.2, restart_v=UNTOLD)
    assert "7.20 V" in finding.message
    assert said(bench.latches) == []
    assert said(bench.latches, latches=None) == []


def test_few_or_coarse() -> None:
    assert "one time" in said(bench.loosely_known, trips=1)[0].message
    assert "finer steps" in said(bench.loosely_known, trip_v=sure(6.4, 0.1))[0].message
    assert said(bench.loosely_known) == []
    assert said(bench.loosely_known, trip_v=UNTOLD, trips=0) == []


def test_a_good_controller_is_quiet() -> None:
    """It does run again: that holds of every one that does not stay off."""
    assert [finding.rule for finding in bench_findings(evidence())] == ["bench-runs-again"]
    assert bench_findings(evidence(restart_v=sure(7.8))) == ()


@pytest.mark.parametrize("chemistry", names())
def test_every_finding_is_fit_to_be_shown(chemistry: str) -> None:
    bad = evidence(
        pack(chemistry, 3),
        of=controller(9.0),
        beside=(result(controller="Left", trip_v=sure(0.5)),),
        trip_v=sure(1.0, 0.1),
        restart_v=sure(1.05, 0.01),
        hysteresis_v=sure(0.05),
        drift_v=sure(-0.5),
        restless=2,
        trips=2,
        latches=True,
        stayed_off_v=2.0,
        earlier=(EarlierTrip(tested_at=NOON, trip_v=sure(3.0)),),
    )
    found = bench_findings(bad)
    assert len({finding.rule for finding in found}) == len(BENCH_RULES) - 1
    for finding in (*found, *bench_findings(evidence(trip_v=NotEnough("It never let go."), trips=0))):
        assert finding.severity in SEVERITIES
        assert finding.subject == "Tug motor"
        for text in (finding.message, finding.why):
            assert text[0].isupper()
            assert text.endswith(".")
            assert "  " not in text
            assert "None" not in text
