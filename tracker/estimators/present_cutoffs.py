"""What the controllers of a model do to a pack as they stand: each by itself, and all together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.domain.controller import Controller
from tracker.domain.planning import PresentCutoff, PresentState
from tracker.domain.results import Estimate, NotEnough, Quantity
from tracker.estimators.drawn_packs import normal_draws
from tracker.physics.left_connected import hours_to_floor
from tracker.physics.load_profile import LoadProfile
from tracker.physics.pack_discharge import Discharge, Driver, discharge, standing_current
from tracker.physics.pack_draws import ControllerDraws, PackDraws

FloatArray = NDArray[np.float64]

STANDBY_A = 0.01
"""What a controller draws itself as long as it is connected. From memory."""
RESTART_CELL_V = 0.10
"""So much above its trip a controller runs again where its restart is not known, of one cell. From memory."""
RESTARTS, PAUSE_S = 3, 10.0
"""A driver who goes on does so this often, after waiting so long. From memory."""
STEPS = 600
FRUGAL_H = 48.0
"""Drains that take longer than this to empty a pack are not spoken of."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Trips:
    """Where one controller lets go and runs again, of the pack, or of one cell in its mode.

    Attributes
    ----------
    trip_v : Quantity
        Lets go; NotEnough where it never does [V]
    restart_v : Quantity
        Runs again; NotEnough where that is not known [V]
    latches : bool
        Whether it stays off once it has let go
    tested : bool
        Whether this is from a bench test
    """

    trip_v: Quantity
    restart_v: Quantity
    latches: bool = False
    tested: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Standing:
    """What the controllers do.

    Attributes
    ----------
    each : tuple[PresentCutoff, ...]
        One a controller, in the order given
    together : PresentState or None
        All of them; None where there is none
    """

    each: tuple[PresentCutoff, ...]
    together: PresentState | None


def present_cutoffs(
    controllers: Sequence[Controller], trips: Sequence[Trips], versions: PackDraws, load: LoadProfile, end_s: float,
    floor_v: float, wanted_risk: float, receiver_a: float, seed: int,
) -> Standing:  # fmt: skip
    """What the controllers of a model risk as they stand.

    Parameters
    ----------
    controllers : Sequence[Controller]
        As set [1]
    trips : Sequence[Trips]
        Where each lets go, beside it [V]
    versions : PackDraws
        Versions of the pack [1]
    load : LoadProfile
        What the model draws [A]
    end_s : float
        When a run ends in any case [s]
    floor_v : float
        Voltage of a cell not to go below [V]
    wanted_risk : float
        Chance of that which is put up with [1]
    receiver_a : float
        Receiver and servos [A]
    seed : int
        Of the draw [1]

    Returns
    -------
    Standing
        Each by itself and all together [1]

    References
    ----------
    .. [1] No source: how controllers behave is common practice.
    """
    if not controllers:
        return Standing(each=(), together=None)
    drawn = [_drawn(controller, trip, versions, len(controllers), seed + 10 + i) for i, (controller, trip) in enumerate(zip(controllers, trips, strict=True))]  # fmt: skip
    step_s = end_s / STEPS

    def run(some: Sequence[ControllerDraws], driver: Driver | None = None) -> Discharge:
        return discharge(versions, some, load, end_s=end_s, receiver_a=receiver_a, driver=driver, longest_step_s=step_s)

    each = []
    for controller, trip, one in zip(controllers, trips, drawn, strict=True):
        alone = ControllerDraws(
            mode=one.mode, trip_v=one.trip_v, restart_v=one.restart_v, counted_cells=one.counted_cells, standby_a=one.standby_a,
            powers_receiver=one.powers_receiver,
        )  # fmt: skip
        risk = _risk(run([alone]), floor_v)
        each.append(_present(controller, trip, one, versions, risk, wanted_risk, several=len(controllers) > 1))
    stopped, driven = run(drawn), run(drawn, Driver(restarts=RESTARTS, pause_s=PAUSE_S))
    hours = hours_to_floor(versions, stopped.soc, standing_current(drawn, receiver_a), floor_v)
    together = PresentState(
        below_floor_probability=_risk(stopped, floor_v),
        driven_on_probability=_risk(driven, floor_v),
        after_first_ah=_spread(driven.charge_after_ah),
        hours_to_floor=_hours(hours),
    )
    return Standing(each=tuple(each), together=together)


def _drawn(controller: Controller, trip: Trips, versions: PackDraws, among: int, seed: int) -> ControllerDraws:
    share = controller.load_share or 1.0 / among
    receiver = controller.powers_receiver is not False
    if isinstance(trip.trip_v, NotEnough):
        return ControllerDraws(mode="none", load_share=share, standby_a=STANDBY_A, powers_receiver=receiver)
    mode = "cell_v" if controller.cutoff_mode == "cell_v" else "pack_v"
    normal = normal_draws(versions.draws, 1, seed)[:, 0]
    trip_v = trip.trip_v.value + trip.trip_v.sd * normal
    usual = RESTART_CELL_V * (1 if mode == "cell_v" else versions.series)
    restart_v = (
        trip_v + usual if isinstance(trip.restart_v, NotEnough) else np.maximum(trip.restart_v.value + trip.trip_v.sd * normal, trip_v)
    )
    return ControllerDraws(
        mode=mode, trip_v=trip_v, restart_v=None if trip.latches else restart_v, load_share=share, standby_a=STANDBY_A, powers_receiver=receiver
    )  # fmt: skip


def _present(
    controller: Controller, trip: Trips, drawn: ControllerDraws, versions: PackDraws, risk: float, wanted: float, *, several: bool
) -> PresentCutoff:  # fmt: skip
    times = versions.series if drawn.mode == "cell_v" else 1
    pack_v: Quantity = trip.trip_v
    if isinstance(pack_v, Estimate):
        pack_v = Estimate(value=times * pack_v.value, low=times * pack_v.low, high=times * pack_v.high, sd=times * pack_v.sd)
    protects = risk <= wanted and isinstance(trip.trip_v, Estimate)
    if isinstance(trip.trip_v, NotEnough):
        verdict = "It never lets go: it does not protect the pack. Use an alarm on every cell and a timer."
    elif protects:
        verdict = "High enough by itself." + (" The pack is protected only if the others let go no lower." if several else "")
    elif risk >= 0.5:
        verdict = "Far too low: run until it lets go, a cell is more likely than not below its floor."
    else:
        verdict = f"Too low: run until it lets go, a cell is below its floor in {100 * risk:.0f} % of runs."
    return PresentCutoff(
        controller=controller.name, trip_v=pack_v, tested=trip.tested, protects=protects, below_floor_probability=risk, verdict=verdict
    )


def _risk(run: Discharge, floor_v: float) -> float:
    return float((run.lowest_cell_v.min(axis=1) < floor_v).mean())


def _spread(values: FloatArray) -> Estimate:
    low, high = np.quantile(values, [0.05, 0.95])
    mean = float(values.mean())
    return Estimate(value=mean, low=float(min(low, mean)), high=float(max(high, mean)), sd=float(values.std()))


def _hours(hours: FloatArray) -> Quantity:
    if not np.all(np.isfinite(hours)):
        return NotEnough("Nothing draws on the pack once the motors have stopped.")
    return _spread(hours)
