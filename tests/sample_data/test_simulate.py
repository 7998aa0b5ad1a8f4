"""The cells of the season keep the books: charge is conserved, limits hold. Kind: limits and round trips."""

from __future__ import annotations

import numpy as np
import pytest

from sample_data.season import Season
from sample_data.simulate import STEP_S, SimulatedPack, Trip, load_profile, new_pack
from tracker.chemistry import load, names
from tracker.units import STANDARD_TEMPERATURE_K

ROOM_K = STANDARD_TEMPERATURE_K
NO_TRIP = (Trip(trip_v=None, share=1.0),)


def pack(chemistry: str = "lipo", cells: tuple[float, ...] = (1.0, 0.9), leak: float = 1.0) -> SimulatedPack:
    made = new_pack(
        load(chemistry),
        rated_ah=5.0,
        cell_capacity=cells,
        resistance_factor=1.0,
        leak_factor=(leak,) * len(cells),
        store_factor=1.0,
        scatter=np.random.default_rng(1),
    )
    made.charge(1.0, balanced=True)
    made.hysteresis = 0.0
    return made


def steady(current_a: float, run_s: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.full(round(run_s / STEP_S), current_a)


def test_what_every_run_used_is_what_each_cell_lost(season: Season) -> None:
    for truth in season.truth:
        np.testing.assert_allclose(truth.capacity_ah * (truth.soc_before - truth.soc_after), truth.used_ah, rtol=1e-9)


def test_over_a_run_a_rest_and_a_charge_the_charge_adds_up() -> None:
    one = pack()
    full_ah = one.drawn_ah.copy()
    drive = one.drive(steady(10.0, 600.0), NO_TRIP, lead_ohm=0.0, air_k=ROOM_K, stop_at_first=True)
    capacity_ah = one.capacity_ah.copy()
    one.rest(10 * 86400.0, ROOM_K, standby_a=0.001)
    standby_ah = 0.001 * 240.0
    # Ageing in store scales the charge with the capacity; the books are kept in the capacity of the start.
    drawn_ah = one.drawn_ah * capacity_ah / one.capacity_ah
    np.testing.assert_allclose(drawn_ah - full_ah, drive.used_ah + standby_ah + one.leaked_ah, rtol=2e-3)
    assert drive.used_ah == pytest.approx(10.0 * 600.0 / 3600.0)
    put_back_ah = one.charge(1.0, balanced=True)
    assert put_back_ah * load("lipo")["charge_acceptance"] == pytest.approx(drawn_ah.max(), rel=2e-3)
    np.testing.assert_allclose(one.soc, 1.0)


@pytest.mark.parametrize("chemistry", names())
def test_without_current_or_history_a_cell_shows_its_curve(chemistry: str) -> None:
    one = pack(chemistry)
    for soc in (0.2, 0.5, 0.8):
        one.drawn_ah = (1.0 - soc) * one.capacity_ah
        np.testing.assert_allclose(one.cell_v(0.0), one.rested_v(np.full(2, soc)))
    assert (np.diff(one.curve_v, axis=1) >= 0.0).all()


def test_curves_stay_among_the_makes_of_the_chemistry() -> None:
    one = pack("lipo")
    middle = np.array([0.3, 0.5, 0.7])
    makes = np.array([np.interp(middle, make.soc, make.voltage_v) for make in load("lipo").makes])
    for cell_v in one.curve_v:
        mine = np.interp(middle, np.linspace(0.0, 1.0, 201), cell_v)
        assert (mine > makes.min(axis=0) - 0.01).all()
        assert (mine < makes.max(axis=0) + 0.01).all()


def test_voltage_comes_back_after_load_and_most_of_it_soon() -> None:
    one = pack(leak=0.0)
    one.drive(steady(15.0, 400.0), NO_TRIP, lead_ohm=0.0, air_k=ROOM_K, stop_at_first=True)
    missing = []
    for rest_s in (1.0, 300.0, 3000.0, 20000.0):
        one.rest(rest_s, ROOM_K)
        one.hysteresis = 0.0
        missing.append(float((one.rested_v(one.soc) - one.cell_v(0.0)).max()))
    assert missing[0] > 0.02
    assert missing[1] < 0.8 * missing[0]
    assert missing[2] < 0.003
    assert missing[3] == pytest.approx(0.0, abs=1e-6)


def test_the_cold_makes_the_resistance_grow_as_measured() -> None:
    """Published: 11.45 mOhm at 1 °C against 3.74 mOhm at 25 °C, a 6 Ah lithium-ion power cell, NREL vehicle-simulator battery file."""
    one = pack("lipo")
    one.temperature_k = 274.15
    assert one.cold_factor() == pytest.approx(11.45 / 3.74, rel=0.05)
    assert (one.cell_v(20.0) < pack("lipo").cell_v(20.0) - 0.1).all()


def test_the_lowest_trip_decides_when_the_driver_goes_on() -> None:
    trips = (Trip(trip_v=6.4, share=0.5), Trip(trip_v=5.0, share=0.5))
    stopped, driven_on = pack(), pack()
    first = stopped.drive(steady(15.0, 7200.0), trips, lead_ohm=0.0, air_k=ROOM_K, stop_at_first=True)
    last = driven_on.drive(steady(15.0, 7200.0), trips, lead_ohm=0.0, air_k=ROOM_K, stop_at_first=False)
    assert (first.let_go, last.let_go) == (1, 2)
    assert 6.0 < first.lowest_pack_v < 6.4
    assert last.lowest_pack_v < 5.0
    assert last.used_ah > first.used_ah
    assert last.run_s < 7200.0


def test_a_lithium_cell_under_its_floor_is_harmed_and_the_other_is_not() -> None:
    one = pack(cells=(1.0, 0.8))
    drive = one.drive(steady(15.0, 7200.0), (Trip(trip_v=5.5, share=1.0),), lead_ohm=0.0, air_k=ROOM_K, stop_at_first=True)
    before_ah, before_ohm, before_soc = one.capacity_ah.copy(), one.resistance_ohm.copy(), one.soc
    one.wear(drive)
    kept = one.capacity_ah / before_ah
    assert drive.lowest_cell_v[1] < load("lipo")["floor_v"] < drive.lowest_cell_v[0]
    assert kept[0] > 0.998
    assert kept[1] < 0.98
    assert one.resistance_ohm[1] > 1.03 * before_ohm[1]
    np.testing.assert_allclose(one.soc, before_soc)


def test_standing_full_in_the_heat_ages_much_faster_than_half_full_in_the_cool() -> None:
    full, half = pack(leak=0.0), pack(leak=0.0)
    half.drawn_ah = 0.5 * half.capacity_ah
    start_ah = full.capacity_ah.copy()
    full.rest(50 * 86400.0, 307.0)
    half.rest(50 * 86400.0, 288.0)
    lost_full, lost_half = 1.0 - full.capacity_ah / start_ah, 1.0 - half.capacity_ah / start_ah
    assert (lost_full > 10.0 * lost_half).all()


def test_a_load_has_the_mean_asked_for_and_its_bursts() -> None:
    load_a = load_profile(12.0, 900.0, burst=2.5, scatter=np.random.default_rng(3))
    assert load_a.mean() == pytest.approx(12.0)
    assert len(load_a) == 225
    assert load_a.max() > 2.0 * 12.0
    assert load_a.min() > 0.0
