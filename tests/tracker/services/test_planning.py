"""Cutoff plans through the services, on a real database."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from tests.tracker.small_logbook import write
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.planning import CutoffPlan, CutoffTask
from tracker.domain.results import Estimate, NotEnough
from tracker.domain.session import Charge, Run
from tracker.errors import FieldErrors, NotFoundError
from tracker.services import Services
from tracker.units import kelvin_from_celsius

TASK = CutoffTask(pack="Tug A", vehicle="Pond tug")
NICKEL = "controller,tested_at,supply_v,motor\n" + "".join(
    f"Right,2025-03-02T12:00:00Z,{volts},{motor}\n" for volts, motor in ((5.2, "running"), (5.1, "running"), (5.0, "stopped"))
)


def rules(plan: CutoffPlan) -> list[str]:
    return [finding.rule for finding in plan.findings]


def test_a_plan_from_what_is_stored(filled: Services) -> None:
    plan = filled.planning.cutoff(TASK)
    assert plan.recommended is not None
    assert 6.0 < plan.recommended.pack_v < 7.4
    assert [one.controller for one in plan.present] == ["Left", "Right"]
    assert [one.tested for one in plan.present] == [True, False]
    assert isinstance(plan.load.mean_a, Estimate)
    assert plan.load.mean_a.value == pytest.approx(14.0, rel=0.15)
    assert "Pond tug" in plan.load.basis
    assert not plan.learned  # two runs are too few
    assert {"cutoff-too-close", "left-plugged-in"} <= set(rules(plan))
    assert plan.findings[0].severity == "stop"
    assert filled.planning.cutoff(TASK) == plan


def test_a_bench_test_comes_before_the_setting(filled: Services, tmp_path: Path) -> None:
    bench = tmp_path / "right.csv"
    bench.write_text(NICKEL, encoding="utf-8")
    filled.exchange.import_files([bench])
    [right] = [one for one in filled.planning.cutoff(TASK).present if one.controller == "Right"]
    assert right.tested
    assert isinstance(right.trip_v, Estimate)
    assert right.trip_v.value == pytest.approx(5.05, abs=0.03)


def test_a_nickel_cutoff_beside_one_altered_for_lithium(filled: Services) -> None:
    """Common practice, no source: just over 5.0 V and 6.4 to 6.5 V on two cells, higher where the cells are not known."""
    filled.controllers.save(Controller(name="Altered", cutoff_mode="pack_v", cutoff_v=7.0))
    filled.controllers.save(Vehicle(name="Pond tug", controllers=("Altered", "Right"), lead_ohm=0.012, usual_a=14.0))
    plan = filled.planning.cutoff(TASK)
    assert rules(plan)[:2] == ["cutoff-too-close", "cutoff-undone"]
    assert [finding.severity for finding in plan.findings[:2]] == ["stop", "stop"]


def test_what_is_asked_changes_the_answer(filled: Services) -> None:
    usual = filled.planning.cutoff(TASK)
    cold = filled.planning.cutoff(replace(TASK, pack_k=kelvin_from_celsius(0.0)))
    daring = filled.planning.cutoff(replace(TASK, risk=0.2))
    typed = filled.planning.cutoff(replace(TASK, mean_a=25.0, burst_a=50.0))
    assert usual.recommended is not None
    assert cold.recommended is None or cold.recommended.pack_v >= usual.recommended.pack_v
    assert daring.recommended is not None
    assert daring.recommended.pack_v < usual.recommended.pack_v
    assert isinstance(typed.load.mean_a, Estimate)
    assert typed.load.mean_a.value == 25.0
    assert "typed" in typed.load.basis


def season(runs: int) -> tuple[list[Run], list[Charge]]:
    day, found, charges = datetime(2025, 5, 1, 10, 0, tzinfo=UTC), [], []
    for number in range(runs):
        start = day + timedelta(days=3 * number)
        found.append(
            Run(
                pack="Tug B",
                vehicle="Pond tug",
                started_at=start,
                run_s=900.0,
                rest_before_s=3600.0,
                rest_after_s=3600.0,
                before_v=(4.19, 4.19),
                after_v=(3.79, 3.66),
                pack_k=298.15,
            )
        )
        charges.append(Charge(pack="Tug B", finished_at=start + timedelta(hours=6), put_back_ah=3.5, goal="full"))
    return found, charges


def test_what_a_pack_has_shown_is_used(filled: Services) -> None:
    before = filled.planning.cutoff(replace(TASK, pack="Tug B"))
    runs, charges = season(6)
    for run, charge in zip(runs, charges, strict=True):
        filled.runs.log(run)
        filled.charges.log(charge)
    after = filled.planning.cutoff(replace(TASK, pack="Tug B"))
    assert (before.learned, after.learned) == (False, True)
    assert "its own history" in after.reason
    assert "of Pond tug" in after.load.basis
    assert after.recommended != before.recommended


def test_names_that_are_not_stored(filled: Services) -> None:
    with pytest.raises(NotFoundError, match=r"Tug Z.*Tug A"):
        filled.planning.cutoff(replace(TASK, pack="Tug Z"))
    with pytest.raises(NotFoundError, match=r"Rail tug.*Pond tug"):
        filled.planning.cutoff(replace(TASK, vehicle="Rail tug"))


IMPOSSIBLE = (
    ("risk", replace(TASK, risk=0.0)),
    ("risk", replace(TASK, risk=0.6)),
    ("risk", replace(TASK, risk=float("nan"))),
    ("pack_c", replace(TASK, pack_k=200.0)),
    ("pack_c", replace(TASK, pack_k=400.0)),
    ("mean_a", replace(TASK, mean_a=0.0)),
    ("mean_a", replace(TASK, mean_a=float("inf"))),
    ("burst_a", replace(TASK, burst_a=-3.0)),
)


def test_what_is_not_possible(filled: Services) -> None:
    for column, task in IMPOSSIBLE:
        with pytest.raises(FieldErrors) as caught:
            filled.planning.cutoff(task)
        assert list(caught.value.problems) == [column]
        assert "allowed" in str(caught.value)


def test_bursts_below_the_mean(filled: Services) -> None:
    with pytest.raises(FieldErrors, match="burst_a: 5 A is less than the mean of 20 A"):
        filled.planning.cutoff(replace(TASK, mean_a=20.0, burst_a=5.0))


def test_a_model_without_controllers(filled: Services) -> None:
    filled.controllers.save(Vehicle(name="Bare"))
    plan = filled.planning.cutoff(replace(TASK, vehicle="Bare"))
    assert (plan.present, plan.together) == ((), None)
    assert plan.recommended is None or plan.recommended.pack_v > 6.0
    assert plan.load.guessed
    assert "load-guessed" in rules(plan)


def test_a_controller_without_a_cutoff_or_a_setting(filled: Services, tmp_path: Path) -> None:
    filled.controllers.save(Controller(name="Open", cutoff_mode="none"))
    filled.exchange.import_files(write(tmp_path / "unset", controllers="controller,cutoff_mode\nUnset,pack_v\n"))
    filled.controllers.save(Vehicle(name="Bare", controllers=("Open", "Unset"), usual_a=14.0))
    plan = filled.planning.cutoff(replace(TASK, vehicle="Bare"))
    assert [isinstance(one.trip_v, NotEnough) for one in plan.present] == [True, True]
    assert [one.protects for one in plan.present] == [False, False]
    assert rules(plan).count("no-cutoff-planned") == 2


def test_a_model_that_ran_on_packs_of_another_kind(filled: Services) -> None:
    """Seven nickel cells on what was driven with two of lithium: it is planned for, and nothing said that holds of lithium alone."""
    plan = filled.planning.cutoff(replace(TASK, pack="Groomer"))
    assert plan.series == 7
    assert plan.floor_v == pytest.approx(0.9)
    assert not any("meant for nickel" in finding.message for finding in plan.findings)


def test_a_retired_pack_is_not_planned_for_as_if_nothing_were_the_matter(filled: Services) -> None:
    plan = filled.planning.cutoff(replace(TASK, pack="Old one"))
    assert rules(plan)[0] == "pack-not-to-be-run"
    assert "2024-09-30" in plan.findings[0].message


def test_a_pack_that_must_not_be_charged_again_neither(filled: Services) -> None:
    start = datetime(2025, 6, 1, 10, 0, tzinfo=UTC)
    filled.runs.log(
        Run(
            pack="Tug B", vehicle="Pond tug", started_at=start, run_s=1500.0, after_v=(1.4, 3.2), rest_after_s=7200.0, before_v=(4.19, 4.19)
        )
    )
    plan = filled.planning.cutoff(replace(TASK, pack="Tug B"))
    first = plan.findings[0]
    assert (first.rule, first.severity, first.subject) == ("pack-not-to-be-run", "stop", "Tug B")
    assert "Do not charge or use it" in first.message
    assert "safe" not in first.message.lower()


def test_names_that_would_harm_elsewhere(filled: Services) -> None:
    name = "Tug'); DROP TABLE packs; -- <b>{x}%s"
    filled.packs.save(Pack(name=name, chemistry="lipo", series=2, capacity_ah=5.0, acquired_on=date(2025, 1, 1)))
    filled.controllers.save(Vehicle(name="{0} & <i>", controllers=("Right",), usual_a=14.0))
    plan = filled.planning.cutoff(CutoffTask(pack=name, vehicle="{0} & <i>"))
    assert any(name in finding.message for finding in plan.findings)
