"""Many cutoffs from one run: the same as a run for each of them, and never out of order."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.tracker.physics.made_up_packs import drawn_packs
from tracker.errors import InputError
from tracker.physics.cell_circuit import Heating
from tracker.physics.cutoff_sweep import cutoff_sweep
from tracker.physics.load_profile import LoadProfile, steady_and_bursts
from tracker.physics.pack_discharge import discharge
from tracker.physics.pack_draws import ControllerDraws

pytestmark = pytest.mark.long

FloatArray = NDArray[np.float64]

LOAD = steady_and_bursts(8.0, 30.0, 2.5, 10.0)
CUTOFFS_V = np.linspace(4.8, 7.4, 14)
ONE = ControllerDraws(mode="pack_v", own_lead_ohm=2e-3, standby_a=0.05, powers_receiver=True)


@pytest.mark.parametrize("mode", ["pack_v", "cell_v"])
@pytest.mark.parametrize("delay_s", [0.0, 1.0, 2.5])
@pytest.mark.parametrize("end_s", [900.0, 3000.0])
def test_each_cutoff_is_as_in_a_run_of_its_own(mode: str, delay_s: float, end_s: float) -> None:
    """Limit: every number of every draw, with spread trips, delay, uneven steps, heat, and an end before some of them let go."""
    pack = replace(drawn_packs(15, 2, spread=0.05, weak=0.9, colder_k=10.0), heating=Heating(120.0, 0.2, 283.15))
    error_v = 0.05 * np.random.default_rng(3).standard_normal(15)
    controller = replace(ONE, mode=mode, delay_s=delay_s)
    cutoffs_v = CUTOFFS_V / (2.0 if mode == "cell_v" else 1.0)
    swept = cutoff_sweep(pack, controller, LOAD, cutoffs_v, end_s=end_s, trip_error_v=error_v, receiver_a=0.3, longest_step_s=0.7)
    for place in (0, 5, 10, 13):
        exact = discharge(
            pack, [replace(controller, trip_v=cutoffs_v[place] + error_v)], LOAD, end_s=end_s, receiver_a=0.3, longest_step_s=0.7
        )
        np.testing.assert_array_equal(swept.tripped[place], ~np.isnan(exact.first_let_go_s[:, 0]))
        np.testing.assert_allclose(swept.run_s[place], exact.run_s)
        np.testing.assert_allclose(swept.charge_ah[place], exact.charge_before_ah, rtol=1e-12)
        np.testing.assert_allclose(swept.lowest_cell_v[place], exact.lowest_cell_v, atol=1e-12)
        np.testing.assert_allclose(swept.soc[place], exact.soc, atol=1e-12)
        np.testing.assert_allclose(swept.rested_v[place], exact.rested_v, atol=1e-9)
    assert np.any(swept.tripped)
    assert end_s > 1000.0 or not np.all(swept.tripped)


def test_a_higher_cutoff_never_takes_more_nor_goes_deeper() -> None:
    """Monotone: in every draw, and so the share of draws below any floor never rises with the cutoff."""
    swept = cutoff_sweep(drawn_packs(300, 3, spread=0.08, weak=0.85), ONE, LOAD, 1.5 * CUTOFFS_V, end_s=3000.0)
    assert np.all(np.diff(swept.lowest_cell_v, axis=0) >= 0)
    assert np.all(np.diff(swept.charge_ah, axis=0) <= 0)
    assert np.all(np.diff(swept.soc, axis=0) >= 0)
    risk = np.mean(swept.lowest_cell_v.min(axis=2) < 3.0, axis=1)
    assert np.all(np.diff(risk) <= 0)
    assert risk[0] == 1.0
    assert risk[-1] == 0.0


def test_a_pack_that_gives_nothing_more_ends_there() -> None:
    """Limit: cutoffs no voltage falls below before the pack is dead count as never let go."""
    swept = cutoff_sweep(drawn_packs(10, 2), ONE, LOAD, [-5.0, 6.4], end_s=6000.0, dead_v=3.0)
    assert not np.any(swept.tripped[0])
    assert np.all(swept.tripped[1])
    assert np.all(swept.run_s[0] < 3000.0)
    assert np.all(swept.run_s[0] > swept.run_s[1])


def test_a_cutoff_above_the_voltage_at_the_start_lets_go_at_once() -> None:
    """Limit: several cutoffs fall in one step."""
    swept = cutoff_sweep(drawn_packs(5, 2), ONE, LoadProfile(np.array([1.0]), np.array([10.0])), [6.0, 9.0, 10.0, 11.0], end_s=100.0)
    np.testing.assert_array_equal(swept.run_s[1:], 1.0)
    np.testing.assert_allclose(swept.run_s[0], 100.0)
    assert not np.any(swept.tripped[0])


@pytest.mark.parametrize("cutoffs_v", [[], [6.4, 6.0], [6.0, 6.0], [float("nan")], [[6.0]]])
def test_cutoffs_out_of_order_are_refused(cutoffs_v: list[float]) -> None:
    with pytest.raises(InputError, match="rising voltages"):
        cutoff_sweep(drawn_packs(2, 2), ONE, LOAD, cutoffs_v, end_s=100.0)


def test_errors_of_the_trip_must_fit_the_draws() -> None:
    with pytest.raises(InputError, match="each of 2 draws"):
        cutoff_sweep(drawn_packs(2, 2), ONE, LOAD, [6.0], end_s=100.0, trip_error_v=[0.1, 0.1, 0.1])
