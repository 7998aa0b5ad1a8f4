"""Where the load a plan is made with comes from: typed, seen in runs, written down, or guessed, in this order."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tests.tracker.estimators.planned_packs import pack_of
from tracker.domain.controller import Vehicle
from tracker.domain.planning import CutoffTask, PlannedLoad
from tracker.domain.results import AssessedRun, Estimate, NotEnough, RunEstimate
from tracker.domain.session import Run
from tracker.estimators.intervals import estimate
from tracker.estimators.planned_load import BURST, GUESS_C, LATEST, LEAST_SPREAD, planned_load

DAY = datetime(2025, 4, 5, 10, 0, tzinfo=UTC)


def ran(number: int, used_ah: float, sd_ah: float = 0.1, loaded_a: float | None = None) -> AssessedRun:
    run = Run(pack="Tug 1", vehicle="Pond tug", started_at=DAY + timedelta(days=number), run_s=600.0, loaded_a=loaded_a)
    return AssessedRun(run=run, estimate=RunEstimate(model="m", used_ah=estimate(used_ah, sd_ah), evidence=(), cells=()))


def load(*runs: AssessedRun, usual_a: float | None = None, mean_a: float | None = None, burst_a: float | None = None) -> PlannedLoad:
    task = CutoffTask(pack="Tug 1", vehicle="Pond tug", mean_a=mean_a, burst_a=burst_a)
    return planned_load(task, pack_of(), Vehicle(name="Pond tug", usual_a=usual_a), runs)


def value(quantity: object) -> float:
    assert isinstance(quantity, Estimate)
    return quantity.value


def test_runs_show_it() -> None:
    """Worked by hand: 3 Ah in ten minutes are 18 A."""
    found = load(ran(0, 2.5), ran(1, 3.0), ran(2, 4.0), usual_a=99.0)
    assert value(found.mean_a) == pytest.approx(18.0)
    assert "3 runs of Pond tug" in found.basis
    assert not found.guessed
    assert isinstance(found.mean_a, Estimate)
    assert found.mean_a.sd == pytest.approx(18.0 * ((1.0 / 36.0 + 1.0 / 9.0) / 2.0) ** 0.5)
    assert value(found.burst_a) == pytest.approx(BURST * 18.0)


def test_alike_runs_do_not_promise_another_like_them() -> None:
    found = load(*(ran(number, 3.0) for number in range(5)))
    assert isinstance(found.mean_a, Estimate)
    assert found.mean_a.sd == pytest.approx(LEAST_SPREAD * 18.0)


def test_the_latest_runs_count() -> None:
    old, new = [ran(number, 1.0) for number in range(50)], [ran(50 + number, 3.0) for number in range(LATEST)]
    assert value(load(*old, *new).mean_a) == pytest.approx(18.0)


def test_runs_that_tell_too_little_do_not_count() -> None:
    vague = [ran(number, 3.0, sd_ah=1.0) for number in range(5)]
    assert value(load(*vague, usual_a=11.0).mean_a) == 11.0
    assert value(load(ran(0, 3.0), ran(1, 3.0), usual_a=11.0).mean_a) == 11.0
    none = AssessedRun(run=vague[0].run, estimate=RunEstimate(model="m", used_ah=NotEnough("Nothing was read."), evidence=(), cells=()))
    assert value(load(none, none, none, usual_a=11.0).mean_a) == 11.0


def test_a_guess_is_called_one() -> None:
    found = load()
    assert value(found.mean_a) == pytest.approx(GUESS_C * 5.0)
    assert found.guessed
    assert "nothing tells" in found.basis
    assert not load(usual_a=3.0).guessed
    assert not load(mean_a=3.0).guessed


def test_what_is_typed_comes_first() -> None:
    found = load(ran(0, 3.0), ran(1, 3.0), ran(2, 3.0), usual_a=11.0, mean_a=22.0, burst_a=45.0)
    assert (value(found.mean_a), value(found.burst_a)) == (22.0, 45.0)
    assert "typed" in found.basis


def test_bursts_as_written_down() -> None:
    found = load(*(ran(number, 3.0, loaded_a=loaded_a) for number, loaded_a in enumerate((36.0, 54.0, 45.0, 2.0))))
    assert value(found.burst_a) == pytest.approx(45.0)
    assert "written down" in found.basis
