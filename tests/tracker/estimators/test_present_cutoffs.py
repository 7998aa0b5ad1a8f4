"""What the controllers of a model risk as they stand, each alone and all together: comparisons, limits, and another way through."""

from __future__ import annotations

import numpy as np
import pytest

from tests.tracker.estimators.planned_packs import controller_of, in_time, known_closely, load_of, pack_of, planned, setup_for
from tracker.domain.controller import Controller
from tracker.domain.planning import CutoffPlan, CutoffTask
from tracker.domain.results import Estimate, NotEnough
from tracker.estimators.cell_family import family
from tracker.estimators.cutoff import TRIP_SD_V
from tracker.estimators.cutoff_scenes import GENTLE_C, RECEIVER_A, SEED, Setup, less_sure, scenes_of, versions_of
from tracker.estimators.drawn_packs import drawn_versions
from tracker.estimators.intervals import estimate
from tracker.estimators.present_cutoffs import Trips, pack_trip, present_together
from tracker.physics.pack_discharge import discharge
from tracker.physics.pack_draws import ControllerDraws

KNOWN = known_closely(pack_of())
LOW_V, MIDDLE_V, HIGH_V = 5.1, 6.2, 7.0


def plan_of(*controllers: tuple[Controller, Trips], setup: Setup | None = None, draws: int = 1024) -> CutoffPlan:
    base = setup or setup_for(states=KNOWN)
    return planned(setup_for(base.pack, states=base.states, load=base.load, controllers=controllers), draws=draws)


def alone_risk(plan: CutoffPlan) -> float:
    assert len(plan.present) == 1
    return plan.present[0].below_floor_probability


def together_risk(plan: CutoffPlan) -> float:
    assert plan.together is not None
    return plan.together.below_floor_probability


@pytest.mark.parametrize("volts", [6.1, 6.3])
def test_a_controller_alone_risks_what_another_way_shows(volts: float) -> None:
    """Drawn with another seed and run by `discharge` with one controller: within what so many draws leave uncertain."""
    draws, cells, pack = 2048, family("lipo"), pack_of()
    plan = plan_of(controller_of("Left", volts), draws=draws)
    found = []
    for load in (load_of(pack), load_of(pack, GENTLE_C, burst=1.0)):
        versions = drawn_versions(pack, less_sure(setup_for(states=KNOWN)), cells, count=draws, lead_ohm=0.0, seed=88).at(298.15)
        profile, end_s = in_time(load, draws, 88)
        trip_v = volts + TRIP_SD_V * np.random.default_rng(88).standard_normal(draws)
        one = ControllerDraws(mode="pack_v", trip_v=trip_v)
        run = discharge(versions, [one], profile, end_s=end_s, receiver_a=RECEIVER_A, longest_step_s=end_s)
        found.append(float((run.lowest_cell_v.min(axis=1) < plan.floor_v).mean()))
    assert alone_risk(plan) == pytest.approx(max(found), abs=4.0 * np.sqrt(2.0 * 0.25 / draws))


@pytest.mark.parametrize(("volts", "mode", "sd"), [(6.7, "pack_v", 0.3), (3.3, "cell_v", 0.1), (6.4, "pack_v", 0.01)])
def test_a_trip_that_is_known_loosely_or_closely(volts: float, mode: str, sd: float) -> None:
    """One controller alone is all there are: both ways to the same risk agree within what the row's steps of 0.1 V do to it."""
    controllers = [controller_of("Left", volts, mode, sd=sd)]
    plan = plan_of(*controllers, draws=2048)
    task = CutoffTask(pack="", vehicle="", pack_k=298.15)
    setup = setup_for(states=KNOWN, controllers=controllers)
    scenes = scenes_of(task, setup, versions_of(setup, draws=2048))
    raw = present_together(setup.controllers, setup.trips, scenes, floor_v=plan.floor_v, receiver_a=RECEIVER_A, seed=SEED)
    assert raw is not None
    assert alone_risk(plan) == pytest.approx(raw.below_floor_probability, abs=0.04)
    assert together_risk(plan) == alone_risk(plan)
    surely = alone_risk(plan_of(controller_of("Left", volts, mode, sd=0.02), draws=2048))
    assert (alone_risk(plan) > surely + 0.01) == (sd >= 0.1)


def test_a_nickel_cutoff_on_two_lithium_cells() -> None:
    """Common practice, no source: a controller meant for nickel lets go just over 5.0 V, one altered for lithium at 6.4 to 6.5 V."""
    plan = plan_of(controller_of("Left", 6.7), controller_of("Right", 5.05))
    left, right = plan.present
    assert (left.protects, right.protects) == (True, False)
    assert left.verdict.startswith("High enough by itself. The pack is protected only if")
    assert right.verdict.startswith("Far too low")
    assert right.below_floor_probability > 0.95
    assert together_risk(plan) > 0.9


def test_the_lowest_trip_decides() -> None:
    low, high = (plan_of(controller_of("One", volts)) for volts in (LOW_V, HIGH_V))
    both = plan_of(controller_of("High", HIGH_V), controller_of("Low", LOW_V))
    assert alone_risk(high) < 0.01
    assert alone_risk(low) > 0.95
    assert together_risk(both) == pytest.approx(together_risk(low), abs=0.05)
    assert both.together is not None
    assert isinstance(both.together.after_first_ah, Estimate)
    assert both.together.after_first_ah.value > 0.2  # the driver goes on with what still runs
    swapped = plan_of(controller_of("Low", LOW_V), controller_of("High", HIGH_V))
    assert together_risk(swapped) == pytest.approx(together_risk(both), abs=0.05)


def test_one_that_never_lets_go_undoes_the_others() -> None:
    plan = plan_of(controller_of("High", HIGH_V), controller_of("Open", None))
    assert together_risk(plan) > 0.95
    high, never = plan.present
    assert high.protects
    assert not never.protects
    assert isinstance(never.trip_v, NotEnough)
    assert never.below_floor_probability == 1.0
    assert "alarm on every cell" in never.verdict


def test_a_controller_that_stays_off_lets_nobody_drive_on() -> None:
    back = plan_of(controller_of("Back", 6.4)).together
    stays = plan_of(controller_of("Stays", 6.4, latches=True)).together
    assert back is not None
    assert stays is not None
    assert isinstance(stays.after_first_ah, Estimate)
    assert isinstance(back.after_first_ah, Estimate)
    assert stays.after_first_ah.value == pytest.approx(0.0, abs=0.01)
    assert back.after_first_ah.value > stays.after_first_ah.value
    assert stays.driven_on_probability == pytest.approx(stays.below_floor_probability)
    assert back.driven_on_probability >= back.below_floor_probability


@pytest.mark.parametrize("series", [1, 2, 6])
def test_a_setting_a_cell_is_the_same_as_so_many_times_of_the_pack(series: int) -> None:
    pack = pack_of(series=series)
    setup = setup_for(pack, states=known_closely(pack))
    by_cell = plan_of(controller_of("Counts", 3.1, "cell_v", sd=0.05 / series), setup=setup, draws=512)
    by_pack = plan_of(controller_of("Adds", 3.1 * series), setup=setup, draws=512)
    assert alone_risk(by_cell) == pytest.approx(alone_risk(by_pack))
    assert together_risk(by_cell) == pytest.approx(together_risk(by_pack))
    assert isinstance(by_cell.present[0].trip_v, Estimate)
    assert by_cell.present[0].trip_v.value == pytest.approx(3.1 * series)


def test_higher_is_never_worse_and_protects_from_the_advised_cutoff_on() -> None:
    plan = plan_of(*(controller_of(f"At {volts}", volts) for volts in (5.0, 5.6, 6.2, 6.8, 7.4)))
    risks = [one.below_floor_probability for one in plan.present]
    assert risks == sorted(risks, reverse=True)
    assert plan.recommended is not None
    for one in plan.present:
        assert isinstance(one.trip_v, Estimate)
        assert one.protects == (one.below_floor_probability <= plan.task.risk)
        if one.trip_v.value >= plan.recommended.pack_v:
            assert one.protects


def test_a_model_without_controllers() -> None:
    plan = plan_of()
    assert plan.present == ()
    assert plan.together is None
    assert plan.recommended is not None


def test_leads_let_go_sooner() -> None:
    """The controller sees the pack less the drop in the leads, so the same setting is the safer one."""

    def plan(lead_ohm: float) -> CutoffPlan:
        return planned(
            setup_for(states=KNOWN, controllers=[controller_of("Left", MIDDLE_V)], lead_ohm=lead_ohm, load=load_of(pack_of(), 6.0))
        )

    assert alone_risk(plan(0.03)) <= alone_risk(plan(0.0))
    # Gentle driving drops next to nothing in the leads, so it is what decides in the end.
    assert plan(0.03).curve[10].usable_ah < plan(0.0).curve[10].usable_ah


def test_hours_until_the_floor() -> None:
    """Bounds worked by hand: with 0.16 A, what is left above the floor can at most be the charge left in the mean cell."""
    hours = {}
    for volts in (6.6, 7.2, 7.5):
        together = plan_of(controller_of("Left", volts, latches=True)).together
        assert together is not None
        assert isinstance(together.hours_to_floor, Estimate)
        hours[volts] = together.hours_to_floor.value
    assert hours[6.6] < hours[7.2] < hours[7.5]
    assert 0.0 <= hours[6.6] < 0.3 * 5.0 / 0.16
    assert hours[7.5] < 5.5 / 0.16


def test_where_a_controller_lets_go_of_the_pack() -> None:
    controller, trips = controller_of("Counts", 3.2, "cell_v", sd=0.02)
    found = pack_trip(controller, trips, 4)
    assert isinstance(found, Estimate)
    assert found.value == pytest.approx(12.8)
    assert found.sd == pytest.approx(0.08)
    assert found.low < found.value < found.high
    controller, trips = controller_of("Adds", 12.8)
    assert pack_trip(controller, trips, 4) == estimate(12.8, 0.05)
    assert isinstance(pack_trip(*controller_of("Open", None), 4), NotEnough)
