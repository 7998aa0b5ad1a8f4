"""What a cutoff has to stand: versions of the pack under versions of the load, as asked for and driven gently when warm."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.planning import CutoffTask, PlannedLoad
from tracker.domain.results import Estimate, NotEnough, Quantity
from tracker.estimators import pack_state as ps
from tracker.estimators.cell_family import family
from tracker.estimators.drawn_packs import Versions, drawn_versions, normal_draws
from tracker.estimators.present_cutoffs import Scene, Trips
from tracker.estimators.recorded_load import shaped_profile
from tracker.physics.load_profile import LoadProfile, steady_and_bursts

FloatArray = NDArray[np.float64]

DRAWS = 2048
SEED = 5
BURST_SHARE, BURST_S = 0.2, 3.0
"""Part of the time at full throttle, and how long it lasts. From memory."""
RECEIVER_A = 0.15
"""Receiver and servos at rest. From memory."""
GENTLE_C, WARM_K = 0.5, 298.15
"""Gentle driving: what a model draws when it is only pottered about with. From memory."""
LEARNED_WIDER = 1.5
"""Capacities and curve of a pack learned from its history are this much less sure than they say: their 90 % intervals hold the truth in
71 % of simulated cells, which is what intervals do that are too narrow by this factor (see how a pack is learned, in DEVELOPERS.md)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Setup:
    """A pack, what is known of it, the model and what its controllers do.

    Attributes
    ----------
    pack : Pack
        The pack
    vehicle : Vehicle
        The model
    controllers : tuple[Controller, ...]
        In the order of the vehicle
    trips : tuple[Trips, ...]
        Where each lets go and runs again, beside it
    states : PackStates
        What is known of the pack, of one pack
    learned : bool
        Whether any of it comes from its own history
    load : PlannedLoad
        What the model draws
    starts_soc : tuple[float, ...]
        Charge at which the runs of the pack began, as far as they are known [1]
    """

    pack: Pack
    vehicle: Vehicle
    controllers: tuple[Controller, ...]
    trips: tuple[Trips, ...]
    states: ps.PackStates
    learned: bool
    load: PlannedLoad
    starts_soc: tuple[float, ...] = ()


def less_sure(setup: Setup) -> ps.PackStates:
    """What is known of the pack, as much less sure as packs learned from their history have proved to be.

    Parameters
    ----------
    setup : Setup
        The pack and the model [1]

    Returns
    -------
    PackStates
        Of one pack [1]

    References
    ----------
    .. [1] LEARNED_WIDER, from simulated cells.
    """
    belief = setup.states.belief
    if not setup.learned:
        return setup.states
    return replace(setup.states, belief=replace(belief, covariance=LEARNED_WIDER**2 * belief.covariance))


def versions_of(setup: Setup, *, seed: int = SEED, draws: int = DRAWS) -> Versions:
    """Versions of the pack of a setup, which serve every temperature and every load.

    Parameters
    ----------
    setup : Setup
        The pack and the model [1]
    seed : int
        Of the draw [1]
    draws : int
        How many versions [1]

    Returns
    -------
    Versions
        All equally likely [1]

    References
    ----------
    .. [1] JCGM 101:2008, propagation of distributions by a Monte Carlo method.
    """
    lead_ohm = setup.vehicle.lead_ohm or 0.0
    return drawn_versions(setup.pack, less_sure(setup), family(setup.pack.chemistry), count=draws, lead_ohm=lead_ohm, seed=seed)


def scenes_of(task: CutoffTask, setup: Setup, versions: Versions, seed: int = SEED) -> tuple[Scene, Scene]:
    """What a cutoff has to stand: what is asked for, and gentle driving in the warm.

    Parameters
    ----------
    task : CutoffTask
        Temperature of the pack [K]
    setup : Setup
        The pack and the model [1]
    versions : Versions
        Of the same pack [1]
    seed : int
        Of the draw of the load [1]

    Returns
    -------
    tuple[Scene, Scene]
        As usual, and gently [1]

    References
    ----------
    .. [1] No source: a definition.
    """
    usual, _ = drawn_load(setup.load, versions.draws, seed)
    easy, _ = drawn_load(gentle_load(setup), versions.draws, seed)
    return Scene(versions=versions.at(task.pack_k), load=usual), Scene(versions=versions.at(WARM_K), load=easy)


def drawn_load(load: PlannedLoad, draws: int, seed: int) -> tuple[LoadProfile, FloatArray]:
    """Versions of what the model draws, as a steady part with bursts.

    Parameters
    ----------
    load : PlannedLoad
        Mean and burst with their spread [A]
    draws : int
        How many versions [1]
    seed : int
        Of the draw [1]

    Returns
    -------
    profile : LoadProfile
        Over and over until the end [A]
    mean_a : FloatArray
        Of each version [A]

    References
    ----------
    .. [1] No source: a definition.
    """
    mean, burst = _told(load.mean_a), _told(load.burst_a)
    normal = normal_draws(draws, 2, seed + 1)
    mean_a = np.maximum(mean.value + mean.sd * normal[:, 0], 0.1 * mean.value)
    # A burst goes with the mean of its run: only what it differs by besides is drawn for it.
    ratio = burst.value / mean.value
    own_sd = np.sqrt(max(burst.sd**2 - (ratio * mean.sd) ** 2, (0.05 * burst.value) ** 2))
    burst_a = np.maximum(ratio * mean_a + own_sd * normal[:, 1], mean_a)
    burst_a = np.minimum(burst_a, mean_a / BURST_SHARE)
    steady_a = (mean_a - BURST_SHARE * burst_a) / (1.0 - BURST_SHARE)
    if load.shape_s:
        return shaped_profile(load, mean_a, burst_a), mean_a
    return steady_and_bursts(steady_a, burst_a, BURST_S, BURST_S / BURST_SHARE), mean_a


def gentle_load(setup: Setup) -> PlannedLoad:
    """The same model only pottered about with, without any bursts: they would make a controller let go sooner, and need not come.

    Parameters
    ----------
    setup : Setup
        The pack and the model [1]

    Returns
    -------
    PlannedLoad
        Without bursts [A]

    References
    ----------
    .. [1] GENTLE_C.
    """
    mean = _told(setup.load.mean_a)
    gentle = _times(mean, min(1.0, GENTLE_C * setup.pack.capacity_ah / mean.value))
    return PlannedLoad(mean_a=gentle, burst_a=gentle, basis="gentle driving", guessed=setup.load.guessed)


def _times(quantity: Estimate, part: float) -> Estimate:
    return Estimate(value=part * quantity.value, low=part * quantity.low, high=part * quantity.high, sd=part * quantity.sd)


def _told(quantity: Quantity) -> Estimate:
    if isinstance(quantity, NotEnough):
        raise TypeError("a load that is planned with has a value")
    return quantity
