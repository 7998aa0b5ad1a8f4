"""The charge used, against simulated packs of six published cells that the estimator has never seen.

The voltage curves of four of the makes are among those their chemistry is drawn from; Marquis2019 and Ecker2015 are in no
chemistry file. What the cells do under load, how they relax and what they hold is the library's physics throughout.
"""

from __future__ import annotations

from itertools import chain

import numpy as np
import pytest

from tests.tracker.estimators.simulated_cells import MAKES, STRONG, WEAK, SimulatedRun, season
from tests.tracker.measured import Score
from tracker.domain.results import AssessedRun, Estimate
from tracker.estimators.assess import assess_packs
from tracker.estimators.history import PackHistory

pytestmark = pytest.mark.long

RUNS_PER_MAKE = 8


@pytest.fixture(scope="session")
def seasons() -> dict[str, list[SimulatedRun]]:
    """Return simulated runs of each make, driven once for all tests."""
    return {make.parameters: season(make, RUNS_PER_MAKE) for make in MAKES}


def assess(runs: list[SimulatedRun], *, counted: bool) -> list[AssessedRun]:
    histories = [
        PackHistory(pack=each.pack, runs=(each.run,), charges=(each.charge_before, each.charge) if counted else ()) for each in runs
    ]
    return [assessed for pack in assess_packs(histories, {}, {}) for assessed in pack.runs]


def score(runs: list[SimulatedRun], *, counted: bool) -> Score:
    truth = {(each.run.pack, each.run.started_at): each.used_ah for each in runs}
    return Score(assess(runs, counted=counted), truth, {each.pack.name: each.pack.capacity_ah for each in runs})


def every(seasons: dict[str, list[SimulatedRun]]) -> list[SimulatedRun]:
    return list(chain.from_iterable(seasons.values()))


def test_runs_are_what_people_do(seasons: dict[str, list[SimulatedRun]]) -> None:
    """What the other tests rest on: enough runs, deep and shallow, hard and gentle, voltages as after a run."""
    runs = every(seasons)
    depths = [each.used_ah / each.pack.capacity_ah for each in runs]
    assert len(runs) >= 30
    assert min(depths) < 0.4
    assert max(depths) > 0.75
    assert max(each.c_rate for each in runs) > 2.0
    assert all(3.0 < volts < 4.0 for each in runs for volts in each.run.after_v)


def test_counted_runs(seasons: dict[str, list[SimulatedRun]]) -> None:
    """Charger's count with voltages: within 1.3 % of rated over the makes, and every run is estimated."""
    found = score(every(seasons), counted=True)
    assert found.unsaid == 0
    assert found.rms <= 0.013
    assert abs(found.mean) <= 0.005
    assert found.coverage >= 0.85


def test_voltages_alone_of_packs_never_counted(seasons: dict[str, list[SimulatedRun]]) -> None:
    """Rested voltages of each cell and nothing else: within 8 % of rated over the makes, and the intervals say how unsure it is."""
    found = score(every(seasons), counted=False)
    assert found.unsaid == 0
    assert found.rms <= 0.08
    assert found.coverage >= 0.85


@pytest.mark.parametrize("make", [make.parameters for make in MAKES])
def test_no_make_is_far_off(seasons: dict[str, list[SimulatedRun]], make: str) -> None:
    """Each make by itself: 1.3 % counted; from voltages alone a make is off as a whole, by no more than an eighth of rated."""
    assert score(seasons[make], counted=True).rms <= 0.013
    assert score(seasons[make], counted=False).rms <= 0.125


def test_intervals_are_of_use(seasons: dict[str, list[SimulatedRun]]) -> None:
    """An interval that holds the truth by being endless says nothing: half widths below 4 % counted and a third not counted."""
    for counted, widest in ((True, 0.04), (False, 0.34)):
        for item in assess(every(seasons), counted=counted):
            used = item.estimate.used_ah
            assert isinstance(used, Estimate)
            rated_ah = next(each.pack.capacity_ah for each in every(seasons) if each.pack.name == item.run.pack)
            assert (used.high - used.low) / 2.0 / rated_ah < widest


def test_charge_left_in_each_cell(seasons: dict[str, list[SimulatedRun]]) -> None:
    """Counted: what each cell holds afterwards is within 5 % over the makes, and the intervals hold the truth."""
    errors, held = [], []
    for run, item in zip(every(seasons), assess(every(seasons), counted=True), strict=True):
        for truth, cell in zip(run.soc_after, item.estimate.cells, strict=True):
            assert isinstance(cell.soc_after, Estimate)
            errors.append(cell.soc_after.value - truth)
            held.append(cell.soc_after.low <= truth <= cell.soc_after.high)
    assert float(np.sqrt(np.mean(np.square(errors)))) <= 0.05
    assert np.mean(held) >= 0.85


def test_weaker_cell_is_seen_to_go_deeper(seasons: dict[str, list[SimulatedRun]]) -> None:
    """Per-cell readings: where they differ by more than the meter's step, the cell that holds less is estimated deeper."""
    seen = 0
    for run, item in zip(every(seasons), assess(every(seasons), counted=True), strict=True):
        first, second = (cell.soc_after for cell in item.estimate.cells)
        assert isinstance(first, Estimate)
        assert isinstance(second, Estimate)
        if abs(run.run.after_v[0] - run.run.after_v[1]) > 0.015:
            seen += 1
            assert (first.value < second.value) == (run.soc_after[0] < run.soc_after[1]), run.pack.name
    assert WEAK < STRONG
    assert seen >= 10
