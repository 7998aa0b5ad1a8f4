"""Many cutoffs from one run, the load taken in whole periods: the same as runs stepped finely in time, and never out of order."""

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
from tracker.physics.pack_discharge import Driver, discharge, discharge_by_periods
from tracker.physics.pack_draws import ControllerDraws

FloatArray = NDArray[np.float64]

DRAWS = 24
LOAD = steady_and_bursts(np.linspace(6.0, 11.0, DRAWS), np.linspace(40.0, 22.0, DRAWS), 2.5, 10.0)
CUTOFFS_V = np.linspace(4.8, 7.4, 14)
ONE = ControllerDraws(mode="pack_v", own_lead_ohm=2e-3, standby_a=0.05, powers_receiver=True)


@pytest.mark.parametrize("mode", ["pack_v", "cell_v"])
def test_each_cutoff_is_as_in_a_run_of_its_own(mode: str) -> None:
    """Another way: `discharge`, one current after the other. Both look at the end of a burst; many periods at once are read off in between."""
    pack = drawn_packs(DRAWS, 2, spread=0.05, weak=0.9, colder_k=10.0)
    error_v = 0.05 * np.random.default_rng(3).standard_normal(DRAWS)
    controller = replace(ONE, mode=mode)
    cutoffs_v = CUTOFFS_V / (2.0 if mode == "cell_v" else 1.0)
    swept = cutoff_sweep(pack, controller, LOAD, cutoffs_v, trip_error_v=error_v, receiver_a=0.3)
    for place in (0, 5, 9, 11, 13):
        one = replace(controller, trip_v=cutoffs_v[place] + error_v)
        exact = discharge(pack, [one], LOAD, end_s=9000.0, receiver_a=0.3, longest_step_s=10.0)
        assert not np.any(exact.timed_out)
        np.testing.assert_allclose(swept.run_s[place], exact.run_s, atol=10.0 + 1e-6)  # a period more or less
        np.testing.assert_allclose(swept.run_s[place].mean(), exact.run_s.mean(), atol=3.0)
        np.testing.assert_allclose(swept.charge_ah[place], exact.charge_before_ah, atol=0.05)
        lowest_v = exact.lowest_cell_v.min(axis=1)
        # Where cells fall off their knee, a period is worth more.
        np.testing.assert_allclose(swept.lowest_v[place], lowest_v, atol=0.12 if lowest_v.min() < 3.0 else 0.02)
        np.testing.assert_allclose(swept.lowest_v[place].mean(), lowest_v.mean(), atol=0.02)


@pytest.mark.parametrize("restarts", [0, 3])
def test_several_controllers_are_as_stepped_finely(restarts: int) -> None:
    """The same way as above, for two controllers, one of which comes back, and a driver who goes on."""
    pack = drawn_packs(DRAWS, 2, spread=0.03)
    two = [
        replace(ONE, trip_v=6.7, restart_v=6.9, load_share=0.5),
        replace(ONE, trip_v=6.3, restart_v=6.5, load_share=0.5, own_lead_ohm=0.0),
    ]
    driver = Driver(restarts=restarts, pause_s=10.0)
    exact = discharge(pack, two, LOAD, end_s=9000.0, receiver_a=0.3, driver=driver, longest_step_s=10.0)
    found = discharge_by_periods(pack, two, LOAD, receiver_a=0.3, driver=driver)
    np.testing.assert_allclose(found.first_let_go_s.mean(axis=0), exact.first_let_go_s.mean(axis=0), rtol=0.03)
    np.testing.assert_allclose(found.charge_before_ah.mean(), exact.charge_before_ah.mean(), rtol=0.03)
    total_ah, exact_ah = (each.charge_before_ah + each.charge_after_ah for each in (found, exact))
    np.testing.assert_allclose(total_ah.mean(), exact_ah.mean(), rtol=0.03)
    np.testing.assert_allclose(found.lowest_cell_v.min(axis=1).mean(), exact.lowest_cell_v.min(axis=1).mean(), atol=0.03)
    assert np.abs(found.restarts.mean(axis=0) - exact.restarts.mean(axis=0)).max() <= 0.35
    assert (exact.restarts.max() > 0) == (restarts > 0)


def test_a_steady_load_has_no_bursts_to_look_at() -> None:
    """Limit: one stretch of one current is the same for charge, for pairs and for what is looked at."""
    pack, steady = drawn_packs(6, 2), LoadProfile(np.array([5.0]), np.array([15.0]))
    swept = cutoff_sweep(pack, ONE, steady, [6.2])
    exact = discharge(pack, [replace(ONE, trip_v=6.2)], steady, end_s=9000.0)
    np.testing.assert_allclose(swept.run_s[0], exact.run_s, atol=5.0)
    np.testing.assert_allclose(swept.lowest_v[0], exact.lowest_cell_v.min(axis=1), atol=0.05)


def test_a_higher_cutoff_never_takes_more_nor_goes_deeper() -> None:
    """Monotone: in every draw, and so the share of draws below any floor never rises with the cutoff."""
    swept = cutoff_sweep(drawn_packs(300, 3, spread=0.08, weak=0.85), ONE, steady_and_bursts(8.0, 30.0, 2.5, 10.0), 1.5 * CUTOFFS_V)
    assert np.all(np.diff(swept.lowest_v, axis=0) >= 0)
    assert np.all(np.diff(swept.charge_ah, axis=0) <= 0)
    assert np.all(np.diff(swept.run_s, axis=0) <= 0)
    risk = np.mean(swept.lowest_v < 3.0, axis=1)
    assert np.all(np.diff(risk) <= 0)
    assert risk[0] == 1.0
    assert risk[-1] == 0.0


def test_a_pack_that_gives_nothing_more_ends_there() -> None:
    """Limit: cutoffs no voltage falls below before the pack is empty end with it."""
    pack = drawn_packs(DRAWS, 2)
    swept = cutoff_sweep(pack, ONE, LOAD, [-500.0, 6.4])
    assert np.all(swept.run_s[0] > swept.run_s[1])
    assert np.all(swept.charge_ah[0] < 1.2 * pack.capacity_ah.max(axis=1))


def test_a_cutoff_above_the_voltage_at_the_start_lets_go_at_once() -> None:
    """Limit: several cutoffs fall in one period."""
    swept = cutoff_sweep(drawn_packs(5, 2), ONE, LoadProfile(np.array([1.0]), np.array([10.0])), [6.0, 9.0, 10.0, 11.0])
    np.testing.assert_allclose(swept.run_s[1:], 1.0)
    assert np.all(swept.run_s[0] > 600.0)


@pytest.mark.parametrize("cutoffs_v", [[], [6.4, 6.0], [6.0, 6.0], [float("nan")], [[6.0]]])
def test_cutoffs_out_of_order_are_refused(cutoffs_v: list[float]) -> None:
    with pytest.raises(InputError, match="rising voltages"):
        cutoff_sweep(drawn_packs(DRAWS, 2), ONE, LOAD, cutoffs_v)


def test_what_cannot_be_taken_in_whole_periods_is_refused() -> None:
    with pytest.raises(InputError, match=f"each of {DRAWS} draws"):
        cutoff_sweep(drawn_packs(DRAWS, 2), ONE, LOAD, [6.0], trip_error_v=[0.1, 0.1, 0.1])
    with pytest.raises(InputError, match="again and again"):
        cutoff_sweep(drawn_packs(DRAWS, 2), ONE, replace(LOAD, repeated=False), [6.0])
    with pytest.raises(InputError, match="warm"):
        cutoff_sweep(replace(drawn_packs(DRAWS, 2), heating=Heating(120.0, 0.2, 283.15)), ONE, LOAD, [6.0])
