"""Packs and models to plan for: fresh from the label, or as known closely as a long counted history could make them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.planning import CutoffPlan, CutoffTask, PlannedLoad
from tracker.domain.results import NotEnough
from tracker.estimators.cell_family import family
from tracker.estimators.cutoff import plan_cutoff
from tracker.estimators.cutoff_scenes import Setup, drawn_load
from tracker.estimators.intervals import estimate
from tracker.estimators.pack_state import PackStates, first_states
from tracker.estimators.present_cutoffs import Trips
from tracker.physics.load_profile import LoadProfile
from tracker.units import kelvin_from_celsius

NEVER = NotEnough("It has no cutoff.")
UNKNOWN = NotEnough("Not known.")
USUAL_C = {"lipo": 4.0, "lihv": 4.0, "life": 2.0, "liion": 1.0, "nimh": 2.0, "nicd": 1.0, "lead": 0.2}
"""What packs of each kind are driven at here. From memory."""
CAPACITY_AH = 5.0


def pack_of(chemistry: str = "lipo", series: int = 2) -> Pack:
    return Pack(name="Tug 1", chemistry=chemistry, series=series, capacity_ah=CAPACITY_AH)


def known_closely(
    pack: Pack, *, log_capacity: Sequence[float] | None = None, log_resistance: float = 0.0, apart_sd: float = 0.005
) -> PackStates:  # fmt: skip
    """The state of a pack of which capacities, resistances and curve are known; `log_...` over what is typical."""
    fresh = first_states([pack], family(pack.chemistry))
    n = pack.series
    mean, covariance = fresh.belief.mean.copy(), 0.01 * fresh.belief.covariance
    covariance[0, :n, :] = covariance[0, :, :n] = 0.0
    covariance[0, :n, :n] = apart_sd**2 * np.eye(n)
    mean[0, :n] = np.zeros(n) if log_capacity is None else log_capacity
    traits = fresh.trait_mean.copy()
    traits[0, :n] += log_resistance
    variance = fresh.trait_variance.copy()
    variance[0, :n] = 0.05**2
    return replace(fresh, belief=replace(fresh.belief, mean=mean, covariance=covariance), trait_mean=traits, trait_variance=variance)


def load_of(pack: Pack, c_rate: float | None = None, burst: float = 2.0) -> PlannedLoad:
    mean_a = (USUAL_C[pack.chemistry] if c_rate is None else c_rate) * pack.capacity_ah
    return PlannedLoad(
        mean_a=estimate(mean_a, 0.1 * mean_a, low=0.0), burst_a=estimate(burst * mean_a, 0.2 * burst * mean_a, low=0.0),
        basis="runs made up for a test", guessed=False,
    )  # fmt: skip


def in_time(load: PlannedLoad, draws: int, seed: int) -> tuple[LoadProfile, float]:
    """The load for a run stepped in time, in rounds no finer than a 400th of the shortest run, and when the longest has ended."""
    profile, mean_a = drawn_load(load, draws, seed)
    shortest_s, longest_s = 3600.0 * CAPACITY_AH / mean_a.max(), 3600.0 * CAPACITY_AH / mean_a.min()
    round_s = max(float(profile.duration_s.sum()), 0.0025 * shortest_s)
    return replace(profile, duration_s=profile.duration_s * round_s / profile.duration_s.sum()), 1.5 * float(longest_s)


def controller_of(name: str, volts: float | None, mode: str = "pack_v", sd: float = 0.05, **more: bool) -> tuple[Controller, Trips]:
    """A controller and where it lets go, of the pack or of a cell in its mode."""
    trip = NEVER if volts is None else estimate(volts, sd)
    return Controller(name=name, cutoff_mode="none" if volts is None else mode, cutoff_v=volts), Trips(
        trip_v=trip, restart_v=UNKNOWN, **more
    )


def setup_for(
    pack: Pack | None = None, *, states: PackStates | None = None, load: PlannedLoad | None = None,
    controllers: Sequence[tuple[Controller, Trips]] = (), lead_ohm: float | None = None,
) -> Setup:  # fmt: skip
    on = pack or pack_of()
    return Setup(
        pack=on,
        vehicle=Vehicle(name="Pond tug", controllers=tuple(one.name for one, _ in controllers), lead_ohm=lead_ohm),
        controllers=tuple(one for one, _ in controllers),
        trips=tuple(trip for _, trip in controllers),
        states=first_states([on], family(on.chemistry)) if states is None else states,
        learned=states is not None,
        load=load or load_of(on),
    )


def planned(setup: Setup, *, risk: float = 0.01, pack_c: float = 25.0, seed: int = 5, draws: int = 1024) -> CutoffPlan:
    task = CutoffTask(pack=setup.pack.name, vehicle=setup.vehicle.name, risk=risk, pack_k=kelvin_from_celsius(pack_c))
    return plan_cutoff(task, setup, seed=seed, draws=draws)


def advised_v(plan: CutoffPlan) -> float:
    """The cutoff that is advised; where there is none, above all there are."""
    return np.inf if plan.recommended is None else plan.recommended.pack_v
