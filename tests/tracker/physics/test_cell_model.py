"""The equivalent circuit: exact steps, what it keeps, and what heat and cold do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.tracker.physics.made_up_cells import PAIR_S, cells, kind, rested_v, tables
from tracker.errors import InputError
from tracker.physics.cell_circuit import CellKind, Cells, CellState, Heating, cell_tables, rested, settled_voltage
from tracker.physics.cell_model import MovingCells, step
from tracker.physics.load_voltage import REFERENCE_K

FloatArray = NDArray[np.float64]


def test_without_load_a_rested_cell_stays_as_it_is() -> None:
    """Limit: zero load."""
    start = rested(cells((4,)), [0.05, 0.3, 0.7, 1.0])
    after, volts = step(cells((4,)), start, 0.0, 3600.0)
    np.testing.assert_array_equal(after.pair_v, 0.0)
    np.testing.assert_allclose(after.soc, start.soc, atol=1e-15)
    np.testing.assert_allclose(volts, rested_v(start.soc), atol=1e-4)


def test_charge_is_current_times_time() -> None:
    """Limit: 5 A for 12 minutes out of 5 Ah is a fifth, whichever way and in whatever steps."""
    moving = MovingCells(cells(), rested(cells(), 0.9))
    for _ in range(72):
        moving.advance(np.array(5.0), 10.0)
    assert moving.soc == pytest.approx(0.7, abs=1e-12)
    for _ in range(72):
        moving.advance(np.array(-5.0), 10.0)
    assert moving.soc == pytest.approx(0.9, abs=1e-12)


def test_voltage_under_a_constant_current_is_the_known_solution() -> None:
    """Published: the solution of the circuit with constant resistances, u = i r (1 - exp(-t / tau)), at any time in one step."""
    for seconds in (0.01, 1.0, 30.0, 600.0):
        _, volts = step(cells(even=True), rested(cells(even=True), 0.9), 10.0, seconds)
        sag = 10.0 * (4e-3 + 2e-3 * -np.expm1(-seconds / PAIR_S[0]) + 3e-3 * -np.expm1(-seconds / PAIR_S[1]))
        expected = settled_voltage(tables(even=True), [0.9 - 10.0 * seconds / 18000.0])[0] - sag
        assert volts == pytest.approx(expected, abs=1e-12)


def test_the_length_of_the_step_does_not_matter() -> None:
    """Limit: with constant resistances one long step is as good as many short ones, to rounding."""
    start = rested(cells(even=True), 0.8)
    once, volts = step(cells(even=True), start, 20.0, 300.0)
    moving = MovingCells(cells(even=True), start)
    for seconds in (0.1,) * 100 + (7.0,) * 40 + (10.0,):
        many = moving.advance(np.array(20.0), seconds)
    np.testing.assert_allclose(many, volts, atol=1e-12)
    np.testing.assert_allclose(moving.state.pair_v, once.pair_v, atol=1e-12)


def test_resistance_that_changes_with_charge_hardly_needs_shorter_steps() -> None:
    """Limit: from 1 s to 0.05 s a run to the steep end changes the voltage by less than a tenth of a millivolt."""
    ends = []
    for seconds in (1.0, 0.05):
        moving = MovingCells(cells(), rested(cells(), 0.3))
        for _ in range(round(240.0 / seconds)):
            volts = moving.advance(np.array(20.0), seconds)
        ends.append(float(volts[0]))
    assert ends[0] == pytest.approx(ends[1], abs=1e-4)


def test_loads_add_where_the_circuit_is_linear() -> None:
    """Limit: with constant resistances the pairs' voltages under two loads are the sum of those under each."""
    start = CellState(np.array([0.9]), np.array([[0.01], [0.02]]), np.asarray(REFERENCE_K))
    nothing = rested(cells(even=True), 0.9)
    first, second = step(cells(even=True), start, 10.0, 20.0)[0], step(cells(even=True), nothing, 25.0, 20.0)[0]
    both = step(cells(even=True), start, 35.0, 20.0)[0]
    np.testing.assert_allclose(both.pair_v, first.pair_v + second.pair_v, atol=1e-14)


def test_two_pairs_are_the_sum_of_each_alone() -> None:
    """Limit: the sag of both pairs is that of one plus that of the other."""

    def sag(pairs: list[int]) -> float:
        flat = cell_tables(lambda soc: np.full_like(soc, 3.7), None, (None,) * len(pairs))
        kind = CellKind(flat, tuple(PAIR_S[pair] for pair in pairs))
        cell = Cells(kind, np.array([5.0]), np.array([0.0]), np.array([[(2e-3, 3e-3)[pair]] for pair in pairs]))
        return 3.7 - float(step(cell, rested(cell, 0.5), 30.0, 40.0)[1][0])

    assert sag([0, 1]) == pytest.approx(sag([0]) + sag([1]), abs=1e-12)


def test_energy_is_kept() -> None:
    """Balance: what the curve gives is what the load took, what the resistances burned and what stays in the capacitors, to 1 in 10,000."""
    cell = cells(even=True)
    state, given, taken, burned, seconds = rested(cell, 0.9), 0.0, 0.0, 0.0, 0.25
    volts = settled_voltage(cell.kind.tables, state.soc) - 30.0 * cell.r0_ohm
    for _ in range(1200):
        after, later = step(cell, state, 30.0, seconds)
        middle_pair_v = 0.5 * (state.pair_v + after.pair_v)
        middle_soc = 0.5 * (state.soc + after.soc)
        given += 30.0 * float(settled_voltage(cell.kind.tables, middle_soc)[0]) * seconds
        taken += 30.0 * float(0.5 * (volts + later)[0]) * seconds
        burned += (30.0**2 * float(cell.r0_ohm[0]) + float(np.sum(middle_pair_v**2 / cell.pair_ohm))) * seconds
        state, volts = after, later
    farad = np.array(PAIR_S)[:, None] / cell.pair_ohm
    stored = float(np.sum(0.5 * farad * state.pair_v**2))
    assert burned > 0.02 * given
    assert taken + burned + stored == pytest.approx(given, rel=1e-4)


def test_without_cooling_a_cell_keeps_its_heat() -> None:
    """Balance: the warmth is the loss, current times the voltage short of the rested one, to 1 in 100."""
    moving = MovingCells(*_warming(1e-9))
    heat_j = 0.0
    for _ in range(600):
        volts = moving.advance(np.array(20.0), 1.0)
        heat_j += 20.0 * float((moving.rested_v - volts)[0])
    assert 100.0 * (float(moving.state.temperature_k[0]) - 290.0) == pytest.approx(heat_j, rel=0.01)


def test_with_much_cooling_a_cell_settles_where_loss_and_cooling_are_one() -> None:
    """Balance: cooling times warmth is the loss, once the cell's own time of 20 s has long passed."""
    moving = MovingCells(*_warming(5.0))
    for _ in range(600):
        volts = moving.advance(np.array(20.0), 1.0)
    heat_w = 20.0 * float((moving.rested_v - volts)[0])
    assert 5.0 * (float(moving.state.temperature_k[0]) - 290.0) == pytest.approx(heat_w, rel=0.01)


def _warming(cooling_w_k: float) -> tuple[Cells, CellState]:
    cell = cells(heating=Heating(100.0, cooling_w_k, 290.0))
    return cell, rested(cell, 1.0, 290.0)


def test_cold_and_low_charge_raise_the_sag() -> None:
    """Limit: Arrhenius with 30 kJ/mol is 3.03 times at 0 °C; the step of the series resistance shows it at once."""
    instant_s = 1e-6
    warm = step(cells(), rested(cells(), 0.5), 40.0, instant_s)[1]
    cold = step(cells(), rested(cells(), 0.5, 273.15), 40.0, instant_s)[1]
    low = step(cells(), rested(cells(), 0.05), 40.0, instant_s)[1]
    middle_v, low_v = settled_voltage(tables(), [0.5])[0], settled_voltage(tables(), [0.05])[0]
    assert float(middle_v - cold[0]) == pytest.approx(3.028 * float(middle_v - warm[0]), rel=1e-3)
    assert float(low_v - low[0]) > 1.7 * float(middle_v - warm[0])


def test_cells_do_not_mind_each_other() -> None:
    """Limit: many cells of different sizes, charges and temperatures, of any shape, move as each alone does."""
    chance = np.random.default_rng(4)
    shape = (3, 5)
    many = Cells(
        kind(),
        chance.uniform(3, 6, shape),
        chance.uniform(2e-3, 8e-3, shape),
        chance.uniform(1e-3, 4e-3, (2, *shape)),
        Heating(80, 0.3, 285),
    )
    soc, kelvin, current = chance.uniform(0.2, 1, shape), chance.uniform(270, 310, shape), chance.uniform(5, 60, 5)
    moving = MovingCells(many, rested(many, soc, kelvin))
    for seconds in (1.0, 0.3, 4.0) * 5:
        together = moving.advance(current, seconds)
    for at in ((0, 0), (2, 3), (1, 4)):
        one = Cells(kind(), many.capacity_ah[at], many.r0_ohm[at], many.pair_ohm[(slice(None), *at)], many.heating)
        alone = MovingCells(one, rested(one, soc[at], kelvin[at]))
        for seconds in (1.0, 0.3, 4.0) * 5:
            volts = alone.advance(current[at[1]], seconds)
        assert float(volts) == pytest.approx(together[at], abs=1e-12)


def test_each_pack_may_have_its_own_curve() -> None:
    """Limit: curves along the last axis are used each for its own."""
    offsets = np.array([0.0, 0.1, -0.2])
    several = cell_tables(lambda soc: rested_v(soc) + offsets[:, None], None, (None, None))
    many = Cells(CellKind(several, PAIR_S), np.full((2, 3), 5.0), np.full((2, 3), 4e-3), np.full((2, 2, 3), 2e-3))
    _, volts = step(many, rested(many, 0.6), 10.0, 60.0)
    np.testing.assert_allclose(volts - volts[:, :1], np.broadcast_to(offsets, (2, 3)), atol=1e-9)
    np.testing.assert_allclose(settled_voltage(several, np.full((2, 3), 0.6))[:, 2], rested_v(np.array(0.6)) - 0.2, atol=1e-6)


def test_below_empty_the_curve_goes_straight_on() -> None:
    """Limit: a cell driven beyond the table falls on, at the table's last slope."""
    grid = tables().soc
    slope = (tables().ocv_v[1] - tables().ocv_v[0]) / (grid[1] - grid[0])
    assert settled_voltage(tables(), [-0.15])[0] == pytest.approx(tables().ocv_v[0] - 0.10 * slope, rel=1e-9)


def test_a_step_leaves_its_start_alone() -> None:
    """Limit: the step is a function; the same question has the same answer twice."""
    start = rested(cells((2,), heating=Heating(50, 0.2, 280)), [0.4, 0.8], 283.15)
    first = step(cells((2,), heating=Heating(50, 0.2, 280)), start, 30.0, 10.0)
    second = step(cells((2,), heating=Heating(50, 0.2, 280)), start, 30.0, 10.0)
    np.testing.assert_array_equal(first[1], second[1])
    np.testing.assert_array_equal(start.pair_v, 0.0)
    np.testing.assert_allclose(start.soc, [0.4, 0.8])
    assert start.temperature_k == 283.15


def test_what_cannot_be_a_cell_is_refused() -> None:
    good = cells((2,))
    with pytest.raises(InputError, match="resistances not below 0"):
        replace(good, r0_ohm=np.array([1e-3, -1e-3]))
    with pytest.raises(InputError, match="one a cell"):
        replace(good, capacity_ah=np.full(3, 5.0))
    with pytest.raises(InputError, match="must be above 0"):
        CellKind(tables(), (1.0, 0.0))
    with pytest.raises(InputError, match="1 time constants for 2 pairs"):
        CellKind(tables(), (1.0,))
    with pytest.raises(InputError, match="finite number"):
        cell_tables(lambda soc: soc * np.nan)
    with pytest.raises(InputError, match="above 0 K"):
        rested(good, 0.5, -3.0)
    with pytest.raises(InputError, match="above 0"):
        step(good, rested(good, 0.5), 1.0, 0.0)
    with pytest.raises(InputError, match="must be above 0"):
        Heating(0.0, 1.0, 290.0)
