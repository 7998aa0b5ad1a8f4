"""A pack with several controllers: who lets go when, and how low each cell goes."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.tracker.physics.made_up_packs import drawn_packs
from tracker.errors import InputError
from tracker.physics.cell_circuit import settled_voltage
from tracker.physics.left_connected import hours_to_floor
from tracker.physics.load_profile import LoadProfile, steady_and_bursts
from tracker.physics.pack_discharge import Discharge, Driver, discharge, standing_current
from tracker.physics.pack_draws import ControllerDraws, PackDraws, counted_cells

FloatArray = NDArray[np.float64]

END_S = 3000.0
DRAWS = 40
LOAD = steady_and_bursts(8.0, 30.0, 2.0, 10.0)
NEVER = ControllerDraws(mode="none")


def lets_go_at(trip_v: float, share: float = 1.0, **more: object) -> ControllerDraws:
    """Return a controller with a cutoff of the pack that stays off."""
    return replace(ControllerDraws(mode="pack_v", trip_v=trip_v, load_share=share), **more)  # type: ignore[arg-type]


def run(pack: PackDraws, *controllers: ControllerDraws, load: LoadProfile = LOAD, end_s: float = END_S, **more: object) -> Discharge:
    return discharge(pack, controllers, load, end_s=end_s, **more)  # type: ignore[arg-type]


def test_a_run_takes_current_times_time_from_every_cell() -> None:
    """Balance: without a cutoff the charge is the mean load times the time, and each cell gives its part of it."""
    pack = drawn_packs(DRAWS, 3)
    done = run(pack, NEVER, end_s=600.0)
    np.testing.assert_allclose(done.charge_before_ah, LOAD.mean_a * 600.0 / 3600.0, rtol=1e-12)
    np.testing.assert_allclose((pack.soc - done.soc) * pack.capacity_ah, done.charge_before_ah[:, None] * np.ones(3), rtol=1e-9)
    assert np.all(done.charge_after_ah == 0.0)
    assert np.all(done.timed_out)
    assert np.all(done.run_s == pytest.approx(600.0))
    assert np.all(np.isnan(done.first_let_go_s))


def test_no_load_leaves_a_rested_pack_at_rest() -> None:
    """Limit: zero load."""
    pack = drawn_packs(DRAWS, 3)
    done = run(pack, lets_go_at(9.0), load=LoadProfile(np.array([10.0]), np.array([0.0])), end_s=100.0)
    np.testing.assert_allclose(done.soc, pack.soc, atol=1e-12)
    np.testing.assert_allclose(done.lowest_cell_v, settled_voltage(pack.kind.tables, pack.soc), atol=1e-9)
    assert np.all(done.charge_before_ah == 0.0)


def test_a_controller_lets_go_where_what_it_sees_falls_below_its_trip() -> None:
    """Limit: with a steady load the pack's voltage at the trip, less the leads, is the trip, to the fall within one step."""
    pack = drawn_packs(DRAWS, 2, lead_ohm=5e-3)
    steady = LoadProfile(np.array([1.0]), np.array([20.0]))
    done = run(pack, lets_go_at(6.4, own_lead_ohm=3e-3), load=steady)
    seen_v = done.lowest_cell_v.sum(axis=1) - 20.0 * 8e-3
    assert np.all(seen_v < 6.4)
    np.testing.assert_allclose(seen_v, 6.4, atol=0.02)
    assert np.array_equal(done.first_let_go_s[:, 0], done.run_s)


def test_the_spread_of_the_trip_is_taken_draw_by_draw() -> None:
    """Limit: a controller that lets go higher in one draw does so in that draw alone."""
    pack = drawn_packs(2, 2, spread=0.0)
    done = run(pack, replace(lets_go_at(6.4), trip_v=np.array([6.4, 7.0])))
    one = [run(drawn_packs(1, 2, spread=0.0), lets_go_at(trip_v)) for trip_v in (6.4, 7.0)]
    np.testing.assert_allclose(done.run_s, [each.run_s[0] for each in one])
    assert done.run_s[1] < done.run_s[0]


def test_a_higher_cutoff_never_takes_more_nor_goes_deeper() -> None:
    """Monotone: in every draw, over a row of cutoffs."""
    pack = drawn_packs(DRAWS, 2, weak=0.9)
    rows = [run(pack, lets_go_at(trip_v)) for trip_v in np.linspace(5.0, 7.0, 6)]
    for lower, higher in pairwise(rows):
        assert np.all(higher.lowest_cell_v >= lower.lowest_cell_v)
        assert np.all(higher.charge_before_ah <= lower.charge_before_ah)
    assert np.all(rows[-1].lowest_cell_v > rows[0].lowest_cell_v)


@pytest.mark.parametrize("worse", ["colder", "weaker", "more load", "more resistance"])
def test_what_makes_it_harder_never_raises_the_lowest_voltage(worse: str) -> None:
    """Monotone: with no cutoff, over the same time."""
    pack, load = drawn_packs(DRAWS, 2), LOAD
    if worse == "colder":
        harder = drawn_packs(DRAWS, 2, colder_k=25.0)
    elif worse == "weaker":
        harder = drawn_packs(DRAWS, 2, weak=0.85)
    elif worse == "more resistance":
        harder = replace(pack, r0_ohm=1.5 * pack.r0_ohm)
    else:
        harder, load = pack, steady_and_bursts(9.0, 35.0, 2.0, 10.0)
    before, after = run(pack, NEVER, end_s=900.0), run(harder, NEVER, load=load, end_s=900.0)
    assert np.all(after.lowest_cell_v <= before.lowest_cell_v)
    assert np.mean(after.lowest_cell_v[:, -1] < before.lowest_cell_v[:, -1] - 0.005) == 1.0


def test_a_weak_cell_is_deep_before_the_pack_shows_it() -> None:
    """Margin is judged at the weakest cell: at the trip the mean is 3.2 V, the weak cell far below."""
    done = run(drawn_packs(DRAWS, 3, weak=0.8), lets_go_at(9.6))
    assert np.all(done.lowest_cell_v[:, :2].mean(axis=1) > 3.25)
    assert np.all(done.lowest_cell_v[:, 2] < 3.0)


def test_the_lowest_trip_governs() -> None:
    """Two controllers: the pack goes as deep as under the lower trip, whichever way round they are named, deeper than under the higher."""
    pack = drawn_packs(DRAWS, 2)
    unequal = run(pack, lets_go_at(6.6, 0.5), lets_go_at(5.6, 0.5))
    other_way = run(pack, lets_go_at(5.6, 0.5), lets_go_at(6.6, 0.5))
    both_high = run(pack, lets_go_at(6.6, 0.5), lets_go_at(6.6, 0.5))
    np.testing.assert_array_equal(unequal.lowest_cell_v, other_way.lowest_cell_v)
    np.testing.assert_array_equal(unequal.first_let_go_s, other_way.first_let_go_s[:, ::-1])
    assert np.all(unequal.first_let_go_s[:, 0] == both_high.first_let_go_s[:, 0])
    assert np.all(unequal.first_let_go_s[:, 1] > unequal.first_let_go_s[:, 0])
    assert np.all(unequal.soc.min(axis=1) < both_high.soc.min(axis=1) - 0.01)
    assert np.all(unequal.charge_after_ah > 0.02)
    assert np.all(both_high.charge_after_ah == 0.0)
    np.testing.assert_allclose(unequal.charge_before_ah, both_high.charge_before_ah)


def test_a_controller_without_a_cutoff_undoes_the_other() -> None:
    """Limit: it goes on until nothing is left, however safe the other one is."""
    done = run(drawn_packs(DRAWS, 2), lets_go_at(6.6, 0.5), replace(NEVER, load_share=0.5), end_s=6000.0)
    assert np.all(done.dead)
    assert not np.any(done.timed_out)
    assert np.all(done.lowest_cell_v.min(axis=1) < 0.5)
    assert np.all(np.isnan(done.first_let_go_s[:, 1]))


def test_going_on_after_the_pack_has_recovered_draws_it_deeper() -> None:
    """Monotone: each restart takes more charge and never raises the lowest voltage; the first stretch stays the same."""
    pack = drawn_packs(DRAWS, 2)
    controller = lets_go_at(6.4, restart_v=6.8)
    runs = [run(pack, controller, driver=Driver(restarts, pause_s=10.0)) for restarts in (0, 1, 5)]
    assert [done.restarts.max() for done in runs] == [0, 1, 5]
    for before, after in pairwise(runs):
        np.testing.assert_array_equal(after.charge_before_ah, before.charge_before_ah)
        assert np.all(after.charge_after_ah > before.charge_after_ah)
        assert np.all(after.soc < before.soc)
        assert np.all(after.lowest_cell_v <= before.lowest_cell_v)
        assert np.all(after.first_let_go_s == before.first_let_go_s)
    again = runs[2]
    assert np.all(again.last_let_go_s >= again.first_let_go_s + 10.0)
    assert np.all(again.run_s == again.last_let_go_s[:, 0])


def test_a_controller_that_stays_off_or_sees_too_little_does_not_run_again() -> None:
    """Limit: without a restart voltage, and with one the pack does not recover to."""
    pack = drawn_packs(DRAWS, 2)
    off = run(pack, lets_go_at(6.4), driver=Driver(5))
    too_high = run(pack, lets_go_at(6.4, restart_v=8.4), driver=Driver(5, patience_s=30.0))
    assert off.restarts.sum() == too_high.restarts.sum() == 0
    np.testing.assert_array_equal(off.soc, too_high.soc)


def test_a_delay_lets_short_bursts_pass() -> None:
    """Limit: bursts of 2 s below the trip do nothing to a controller that waits 3 s; one that waits 1 s lets go in the first deep burst."""
    pack = drawn_packs(DRAWS, 2, colder_k=20.0)
    quick, patient = run(pack, lets_go_at(6.6, delay_s=1.0)), run(pack, lets_go_at(6.6, delay_s=3.0))
    assert np.all(patient.run_s > quick.run_s + 60.0)
    assert np.all(patient.lowest_cell_v < quick.lowest_cell_v)


def test_cells_counted_wrong_leave_the_pack_without_protection() -> None:
    """A controller that takes 3.2 V a cell and has counted one too few lets go far too late."""
    pack = drawn_packs(DRAWS, 6)
    per_cell = ControllerDraws(mode="cell_v", trip_v=3.2)
    right, wrong = run(pack, per_cell), run(pack, replace(per_cell, counted_cells=5))
    same = run(pack, lets_go_at(6 * 3.2))
    np.testing.assert_array_equal(right.soc, same.soc)
    assert np.all(wrong.lowest_cell_v.min(axis=1) < 3.0)
    assert np.all(wrong.soc < right.soc)


def test_counting_cells_of_full_and_half_empty_packs() -> None:
    """Common practice, no source: the fewest cells that can make up the voltage, here up to 4.3 V each."""
    np.testing.assert_array_equal(counted_cells([4.2, 8.4, 12.6, 25.2, 6 * 3.55, 4 * 3.3, 3 * 3.5], 4.3), [1, 2, 3, 6, 5, 4, 3])
    assert counted_cells(30.0, 4.3, most_cells=6) == 6
    with pytest.raises(InputError, match="above 0"):
        counted_cells(8.0, 0.0)


def test_receiver_and_standby_draw_as_well() -> None:
    """Balance: both add to the charge; the receiver only where a controller feeds it, shared between those that do."""
    pack = drawn_packs(DRAWS, 2)
    feeding = replace(NEVER, powers_receiver=True, standby_a=0.05)
    fed = run(pack, feeding, end_s=720.0, receiver_a=0.5)
    alone = run(pack, NEVER, end_s=720.0, receiver_a=0.5)
    np.testing.assert_allclose(fed.charge_before_ah - alone.charge_before_ah, 0.55 * 720.0 / 3600.0, rtol=1e-9)
    assert standing_current([feeding, feeding, NEVER], 0.5) == pytest.approx(0.6)


def test_hours_until_a_cell_left_plugged_in_is_at_its_floor() -> None:
    """Round trip: run on with only what still draws for that many hours, and the weakest cell is at its floor."""
    pack = drawn_packs(6, 2, weak=0.9)
    controller = lets_go_at(6.6, powers_receiver=True, standby_a=0.1)
    done = run(pack, controller, receiver_a=0.4)
    hours = hours_to_floor(pack, done.soc, standing_current([controller], 0.4), 3.2)
    assert np.all(hours > 0.05)
    waiting = LoadProfile(np.array([60.0]), np.array([0.0]))
    for draw, hour in enumerate(hours):
        left = replace(
            pack,
            soc=done.soc[draw : draw + 1],
            capacity_ah=pack.capacity_ah[draw : draw + 1],
            r0_ohm=pack.r0_ohm[draw : draw + 1],
            pair_ohm=pack.pair_ohm[:, draw : draw + 1],
        )
        after = discharge(left, [replace(controller, mode="none")], waiting, end_s=3600.0 * hour, receiver_a=0.4, longest_step_s=60.0)
        assert after.lowest_cell_v.min() == pytest.approx(3.2, abs=2e-3)


def test_nothing_that_draws_leaves_a_pack_as_it_is_and_an_empty_one_has_no_time() -> None:
    """Limit: no drain, and a cell that is at its floor already."""
    pack = drawn_packs(3, 2)
    assert np.all(np.isinf(hours_to_floor(pack, pack.soc, 0.0, 3.0)))
    empty = pack.soc.copy()
    empty[1, 0] = 0.0
    hours = hours_to_floor(pack, empty, 0.5, 3.0)
    assert hours[1] == 0.0
    assert hours[0] == pytest.approx(9.8, abs=0.5)


def test_a_nickel_cutoff_on_two_lithium_cells_does_not_protect_them() -> None:
    """Common practice, no source: made for nickel it lets go just over 5.0 V; altered for lithium, at 6.4 to 6.5 V."""
    pack, moderate = drawn_packs(DRAWS, 2), LoadProfile(np.array([1.0]), np.array([10.0]))
    nickel, lithium = run(pack, lets_go_at(5.05), load=moderate), run(pack, lets_go_at(6.45), load=moderate)
    assert np.all(nickel.lowest_cell_v.min(axis=1) < 3.0)
    assert np.all(lithium.lowest_cell_v.min(axis=1) > 3.0)


def test_shorter_steps_find_the_same_run() -> None:
    """Limit: steps of 0.1 s instead of 1 s move the end by no more than a few steps and the charge by less than 1 in 200."""
    pack = drawn_packs(DRAWS, 2)
    coarse, fine = run(pack, lets_go_at(6.4)), run(pack, lets_go_at(6.4), longest_step_s=0.1)
    np.testing.assert_allclose(coarse.charge_before_ah, fine.charge_before_ah, rtol=0.005)
    np.testing.assert_allclose(coarse.lowest_cell_v, fine.lowest_cell_v, atol=0.03)


def test_each_draw_runs_as_it_would_alone() -> None:
    """Limit: draws do not know of each other, also when they end at different times."""
    pack = drawn_packs(DRAWS, 2, spread=0.08)
    controllers = (lets_go_at(6.5, 0.6, restart_v=6.9), lets_go_at(6.1, 0.4, delay_s=2.0))
    together = run(pack, *controllers, driver=Driver(2))
    for draw in (0, 17, 39):
        one = replace(
            pack,
            soc=pack.soc[[draw]],
            capacity_ah=pack.capacity_ah[[draw]],
            r0_ohm=pack.r0_ohm[[draw]],
            pair_ohm=pack.pair_ohm[:, [draw]],
        )
        alone = run(one, *controllers, driver=Driver(2))
        np.testing.assert_allclose(alone.soc[0], together.soc[draw], atol=1e-12)
        np.testing.assert_allclose(alone.lowest_cell_v[0], together.lowest_cell_v[draw], atol=1e-12)
        np.testing.assert_array_equal(alone.last_let_go_s[0], together.last_let_go_s[draw])


def test_what_cannot_be_run_is_refused() -> None:
    pack = drawn_packs(3, 2)
    with pytest.raises(InputError, match="No controller"):
        run(pack)
    with pytest.raises(InputError, match=r"add up to 1\.2"):
        run(pack, lets_go_at(6.4, 0.6), lets_go_at(6.4, 0.6))
    with pytest.raises(InputError, match="receiver's current"):
        run(pack, NEVER, receiver_a=-1.0)
    with pytest.raises(InputError, match="allowed are pack_v"):
        ControllerDraws(mode="sometimes")
    with pytest.raises(InputError, match="above 0 and at most 1"):
        ControllerDraws(mode="none", load_share=1.5)
    with pytest.raises(InputError, match="must be voltages"):
        ControllerDraws(mode="pack_v", trip_v=float("nan"))
    with pytest.raises(InputError, match=r"\(draws, cells\)"):
        replace(pack, soc=np.ones(3))
    with pytest.raises(InputError, match="one for all or one for each of the 3 draws"):
        replace(pack, lead_ohm=np.ones(2))
