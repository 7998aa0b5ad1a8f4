"""Resistance, relaxation and loss by standing, learned from histories whose truth is known."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from itertools import product

import numpy as np
import pytest

from tests.tracker.estimators import remembering as r
from tests.tracker.estimators.written_packs import Driven, driven
from tracker.domain.health import PackHealth
from tracker.domain.results import Estimate, NotEnough
from tracker.estimators.assess import assess_packs
from tracker.estimators.cell_family import family
from tracker.estimators.history import PackHistory

LONG_IDLE = (timedelta(hours=2), timedelta(days=10), timedelta(days=3), timedelta(days=20))


def health(history: PackHistory) -> PackHealth:
    return each_health([history])[0]


def each_health(histories: Iterable[PackHistory]) -> list[PackHealth]:
    """Of many at once, which takes a tenth of the time of one after the other."""
    return [found.learning.health for found in assess_packs(list(histories), {}, {})]


def known(quantity: object) -> Estimate:
    assert isinstance(quantity, Estimate)
    return quantity


def resistances(history: PackHistory) -> list[Estimate]:
    """Of each cell over what is typical of its chemistry and label."""
    typical = family(history.pack.chemistry).chemistry["resistance_capacity"] / history.pack.capacity_ah
    found = [known(cell.resistance_ohm) for cell in health(history).cells]
    return [Estimate(value=q.value / typical, low=q.low / typical, high=q.high / typical, sd=q.sd / typical) for q in found]


@pytest.mark.parametrize("celsius", [0.0, 10.0, 25.0])
@pytest.mark.parametrize("shown", [False, True], ids=["volts and amps", "charger too"])
def test_resistance_is_that_at_25_degrees_whatever_the_weather(celsius: float, shown: bool) -> None:
    """Limit: the truth of each cell within the interval, a cell with twice the resistance for what it is."""
    history = driven(Driven(outings=12, resistance=(1.5, 1.5, 3.0), pack_k=273.15 + celsius, shown_ohm=shown)).history
    for found, truth in zip(resistances(history), (1.5, 1.5, 3.0), strict=True):
        assert found.low <= truth <= found.high
        assert found.value == pytest.approx(truth, rel=0.05)


def test_resistance_from_the_charger_alone() -> None:
    """Limit: no run with a loaded voltage; surer with more charges."""
    history = driven(Driven(outings=12, resistance=(1.5, 1.5, 3.0), shown_ohm=True)).history
    history = replace(history, runs=tuple(replace(run, loaded_v=(), loaded_a=None) for run in history.runs))
    for found, truth in zip(resistances(history), (1.5, 1.5, 3.0), strict=True):
        assert found.low <= truth <= found.high
    fewer = replace(history, runs=history.runs[:2], charges=history.charges[:3])
    assert resistances(fewer)[0].sd > 1.5 * resistances(history)[0].sd


@pytest.mark.parametrize("change", [{"loaded_v": ()}, {"loaded_a": 1.0}], ids=["no volts", "hardly any amps"])
def test_without_a_sag_resistance_is_not_known(change: dict[str, object]) -> None:
    """Limit: nothing is said from amps alone, nor from a current that makes no sag."""
    history = driven(Driven(outings=12, resistance=(1.5, 1.5, 1.5))).history
    for place in range(12):
        history = r.changed_run(history, place, **change)
    assert all(isinstance(cell.resistance_ohm, NotEnough) for cell in health(history).cells)


def test_without_amps_resistance_is_known_by_its_size() -> None:
    """Limit: the current at the lowest voltage is then a guess; within a factor of two, and less surely than with it, relatively."""
    history = driven(Driven(outings=12, resistance=(1.5, 1.5, 1.5))).history
    guessed = replace(history, runs=tuple(replace(run, loaded_a=None) for run in history.runs))
    for of_amps, of_none in zip(resistances(history), resistances(guessed), strict=True):
        assert 0.5 < of_none.value / 1.5 < 2.0
        assert of_none.sd / of_none.value > of_amps.sd / of_amps.value


def test_a_total_under_load_gives_the_mean_and_is_less_sure() -> None:
    """Limit: no cell can be told from another."""
    history = driven(Driven(outings=12, resistance=(1.5, 1.5, 1.5))).history
    totals = replace(history, runs=tuple(replace(run, loaded_v=(sum(run.loaded_v),)) for run in history.runs))
    for of_cells, of_total in zip(resistances(history), resistances(totals), strict=True):
        assert of_total.low <= 1.5 <= of_total.high
        assert of_total.sd > of_cells.sd


@pytest.mark.parametrize("place", [0, 5, 11])
@pytest.mark.parametrize("volts", [(0.5, 0.5, 0.5), (8.9,)], ids=["half a volt", "a wrong digit"])
def test_a_mistyped_loaded_voltage_is_not_averaged_in(place: int, volts: tuple[float, ...]) -> None:
    """Regression: one of twelve; it once made resistance five times what it is, and sure of it."""
    history = driven(Driven(outings=12, resistance=(1.5, 1.5, 1.5))).history
    for found in resistances(r.changed_run(history, place, loaded_v=volts)):
        assert found.value == pytest.approx(1.5, rel=0.25)


def test_a_mistyped_resistance_is_not_averaged_in_and_one_that_stays_is_believed() -> None:
    """Regression: ten times what it is once; twice what it was from the middle on."""
    how = Driven(outings=30, resistance=(1.5, 1.5, 1.5), shown_ohm=True)
    history, worse = driven(how).history, driven(replace(how, resistance=(1.5, 1.5, 3.0))).history
    typed = r.changed_charge(history, 7, cell_ohm=tuple(10.0 * ohm for ohm in history.charges[7].cell_ohm))
    assert all(found.low <= 1.5 <= found.high for found in resistances(typed))
    turned = replace(history, runs=(*history.runs[:12], *worse.runs[12:]), charges=(*history.charges[:13], *worse.charges[13:]))
    after = resistances(turned)
    assert after[2].value > 2.4
    assert after[0].value == pytest.approx(1.5, rel=0.05)


def test_growth_of_resistance_is_seen() -> None:
    """Limit: over sixty outings, with the truth in the interval; none where there is none."""
    cases = list(product((0.0, 0.003, 0.006), (False, True)))
    packs = [Driven(outings=60, resistance=(1.5, 1.5, 1.5), growth=growth, shown_ohm=shown) for growth, shown in cases]
    for (growth, shown), each in zip(cases, each_health(driven(how).history for how in packs), strict=True):
        found = known(each.outlook.resistance_growth)
        assert found.low <= 1.0 + 59.0 * growth <= found.high
        if shown:
            assert (found.low > 1.0) == (growth > 0.0)


def relaxation(history: PackHistory) -> tuple[float, float]:
    states = assess_packs([history], {}, {})[0].learned.states()
    return float(states.trait_mean[0, -1]), float(np.sqrt(states.trait_variance[0, -1]))


def test_a_packs_own_relaxation_is_learned() -> None:
    """Limit: which way it lies from typical, in order, and surer than before; from early readings beside late ones."""
    found = [
        relaxation(driven(Driven(outings=20, relaxation=true, rest_s=(600.0, 7200.0), noise_v=0.003)).history) for true in (0.1, 1.0, 2.0)
    ]
    assert found[0][0] < 0.85 < found[1][0] < 1.15 < found[2][0]
    assert all(sd < 0.3 for _, sd in found)


def test_late_readings_say_nothing_of_relaxation() -> None:
    """Limit: after a night's rest there is nothing left of it."""
    mean, sd = relaxation(driven(Driven(outings=20, relaxation=2.0, rest_s=(40000.0,), noise_v=0.003)).history)
    assert mean == pytest.approx(1.0, abs=0.05)
    assert sd > 0.5


@pytest.mark.parametrize("true", [0.1, 2.0])
def test_early_readings_are_right_once_it_is_learned(true: float) -> None:
    """Limit: what runs took, by voltages alone minutes after load, after sixteen counted ones: far nearer than without any count."""
    written = driven(Driven(outings=24, relaxation=true, rest_s=(300.0, 7200.0), noise_v=0.003, current_a=20.0, depths=(0.5, 0.7, 0.6)))
    errors = []
    for counted in (16, 0):
        charges = tuple(replace(charge, put_back_ah=None) if at > counted else charge for at, charge in enumerate(written.history.charges))
        runs = assess_packs([replace(written.history, charges=charges)], {}, {})[0].runs
        off = [known(each.estimate.used_ah).value - used for each, used in zip(runs, written.used_ah, strict=True)]
        errors.append(np.abs(off[16::2]).mean())
    assert errors[0] < 0.1
    assert errors[0] < 0.5 * errors[1]


def test_a_cell_that_loses_by_standing_is_found() -> None:
    """Limit: by its number, as a share a month and positive for a loss, and it is no weak cell for that."""
    cases = list(product((0, 1, 2), (0.08, 0.15)))
    packs = [
        Driven(outings=20, excess_loss=[per_month * (at == cell) for at in range(3)], noise_v=0.004, idle=LONG_IDLE)
        for cell, per_month in cases
    ]
    for (cell, per_month), found in zip(cases, each_health(driven(how).history for how in packs), strict=True):
        assert found.restless_cells == (cell + 1,)
        assert known(found.cells[cell].excess_loss_per_month).value == pytest.approx(per_month, abs=0.03)
        assert known(found.cells[cell].excess_loss_per_month).low > 0.02
        for other in {0, 1, 2} - {cell}:
            assert abs(known(found.cells[other].excess_loss_per_month).value) < 0.02
        assert found.weakest_cell is None


def test_a_cell_that_loses_less_is_not_restless() -> None:
    """Limit: the sign is that of a loss."""
    found = health(driven(Driven(outings=20, excess_loss=(0.0, -0.08, 0.0), noise_v=0.004, idle=LONG_IDLE)).history)
    assert found.restless_cells == ()
    assert known(found.cells[1].excess_loss_per_month).high < 0.0


@pytest.mark.parametrize("offset", [-0.015, 0.015])
def test_cells_that_always_come_off_the_charger_apart_are_not_restless(offset: float) -> None:
    """Limit: a constant gap is no loss by standing; a loss beside it is still found."""
    how = Driven(outings=20, offset=(0.0, offset, 0.0), noise_v=0.004, idle=LONG_IDLE)
    assert health(driven(how).history).restless_cells == ()
    assert health(driven(replace(how, excess_loss=(0.0, 0.1, 0.0))).history).restless_cells == (2,)


@pytest.mark.parametrize("outings", [3, 5, 12, 20])
def test_one_wrong_reading_makes_no_restless_cell(outings: int) -> None:
    """Regression: wherever in a history, by whatever; after long standing one alone once did."""
    history = driven(Driven(outings=outings, noise_v=0.004, idle=LONG_IDLE)).history
    wrong = {}
    for place, by_v in product(range(outings), (0.1, 0.2, 0.25, 1.0)):
        volts = history.runs[place].before_v
        wrong[place, by_v] = r.changed_run(history, place, before_v=(volts[0], volts[1] - by_v, volts[2]))
    for where, found in zip(wrong, each_health(wrong.values()), strict=True):
        assert found.restless_cells == (), where


def test_restlessness_takes_long_standing_and_neighbours() -> None:
    """Limit: not known from runs an hour after the charge, nor of a single cell."""
    soon = health(driven(Driven(outings=20, excess_loss=(0.0, 0.1, 0.0), noise_v=0.004)).history)
    assert soon.restless_cells == ()
    assert all(isinstance(cell.excess_loss_per_month, NotEnough) for cell in soon.cells)
    alone = health(driven(Driven(outings=20, capacity=(0.98,), excess_loss=(0.1,), noise_v=0.004, idle=LONG_IDLE)).history)
    assert alone.restless_cells == ()
    assert isinstance(alone.cells[0].excess_loss_per_month, NotEnough)
