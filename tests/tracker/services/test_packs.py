"""Packs as they stand, and what was found about them."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime, timedelta

import pytest

from tracker import chemistry
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.results import SEVERITIES, Finding
from tracker.errors import FieldErrors, InputError, NotFoundError
from tracker.services import Services
from tracker.services.urgency import most_urgent_first

NOW = datetime(2025, 4, 20, 12, tzinfo=UTC)


def test_states_of_packs_in_use_count_all_their_runs(filled: Services) -> None:
    start = datetime(2025, 5, 1, tzinfo=UTC)
    template = filled.runs.assess("Tug A")[0].run
    for day in range(20):
        filled.runs.log(dataclasses.replace(template, started_at=start + timedelta(days=day)))
    states = {state.pack: state for state in filled.packs.states(start + timedelta(days=30))}
    assert set(states) == {"Groomer", "Tug A", "Tug B"}
    assert states["Tug A"].runs == 22
    assert states["Tug A"].last_used_at is not None
    assert states["Tug A"].last_used_at >= start + timedelta(days=19)
    assert "Old one" in {state.pack for state in filled.packs.states(NOW, include_retired=True)}


def test_the_state_in_the_box_is_the_one_on_the_packs_page(filled: Services) -> None:
    for state in filled.packs.states(NOW, include_retired=True):
        assert filled.packs.record(state.pack, NOW).state == state


def test_a_packs_record_holds_everything_in_time_order(filled: Services) -> None:
    record = filled.packs.record("Tug A", NOW)
    assert [each.run.started_at.day for each in record.runs] == [5, 12]
    assert len(record.charges) == 1
    assert record.floor_v == chemistry.load("lipo")["floor_v"]
    assert record.reserve_soc == chemistry.load("lipo")["reserve_soc"]


def test_a_pack_never_run_has_a_state_and_a_record(services: Services) -> None:
    services.packs.save(Pack(name="New", chemistry="life", series=4, capacity_ah=2.5))
    [state] = services.packs.states(NOW)
    assert state.runs == 0
    assert services.packs.record("New").runs == ()


def test_a_pack_of_no_known_chemistry_is_refused(services: Services) -> None:
    with pytest.raises(FieldErrors, match="allowed are lead"):
        services.packs.save(Pack(name="New", chemistry="soap", series=4, capacity_ah=2.5))


def test_saving_a_pack_makes_its_estimates_stale(filled: Services) -> None:
    filled.runs.refresh()
    filled.packs.save(dataclasses.replace(filled.packs.get("Tug A"), capacity_ah=4.0))
    assert filled.runs.waiting() == 2
    with pytest.raises(InputError, match="series"):
        filled.packs.save(dataclasses.replace(filled.packs.get("Tug A"), series=3))


def test_saving_a_controller_or_vehicle_makes_the_packs_driven_stale(filled: Services) -> None:
    filled.runs.refresh()
    filled.controllers.save(dataclasses.replace(filled.controllers.all()[0], cutoff_v=6.6))
    assert filled.runs.waiting() == 3
    filled.runs.refresh()
    filled.controllers.save(dataclasses.replace(filled.controllers.vehicles()[0], lead_ohm=0.02))
    assert filled.runs.waiting() == 3
    filled.runs.refresh()
    filled.controllers.save(Controller(name="Spare", cutoff_mode="none"))
    assert filled.runs.waiting() == 0


def test_a_vehicle_with_a_controller_nobody_described_is_refused(filled: Services) -> None:
    with pytest.raises(FieldErrors, match="'Rigth' is not known"):
        filled.controllers.save(Vehicle(name="Barge", controllers=("Rigth",)))


def test_findings_come_most_urgent_first_and_once() -> None:
    def finding(severity: str, at: datetime | None = None, rule: str = "a") -> Finding:
        return Finding(rule=rule, severity=severity, subject="Tug A", message="", why="", at=at)

    given = [finding(severity, at) for severity in reversed(SEVERITIES) for at in (NOW - timedelta(days=9), NOW, None)]
    ordered = most_urgent_first([*given, *given])
    assert [each.severity for each in ordered] == [severity for severity in SEVERITIES for _ in range(3)]
    assert [each.at for each in ordered[:3]] == [None, NOW, NOW - timedelta(days=9)]


def test_all_findings_are_those_of_the_states(filled: Services) -> None:
    of_states = {finding for state in filled.packs.states(NOW) for finding in state.findings}
    assert set(filled.packs.findings(NOW)) == of_states


def test_one_pack_stands_as_it_does_among_all(filled: Services) -> None:
    now = datetime(2025, 4, 13, 12, 0, tzinfo=UTC)
    for state in filled.packs.states(now, include_retired=True):
        assert filled.packs.state(state.pack, now) == state
    with pytest.raises(NotFoundError):
        filled.packs.state("Tug Z", now)


def test_the_season_lists_every_run_with_the_grade_its_estimate_has(filled: Services) -> None:
    runs = filled.runs.assess()
    season = filled.packs.season(min(each.run.started_at for each in runs))
    assert [(each.pack, each.started_at) for each in season] == sorted(
        ((each.run.pack, each.run.started_at) for each in runs), key=lambda key: (key[1], key[0])
    )
    graded = {(each.run.pack, each.run.started_at): {cell.grade for cell in each.estimate.cells} - {None} for each in runs}
    assert all(
        (each.grade in graded[each.pack, each.started_at]) if each.grade else not graded[each.pack, each.started_at] for each in season
    )
    assert {each.pack for each in filled.packs.season(season[0].started_at, "Tug A")} == {"Tug A"}
    assert filled.packs.season(season[-1].started_at + timedelta(seconds=1)) == ()
    with pytest.raises(NotFoundError):
        filled.packs.season(season[0].started_at, "nobody's")
