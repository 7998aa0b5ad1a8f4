"""What the controllers of a model do to a pack as they stand: each by itself, and all together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.domain.controller import Controller
from tracker.domain.planning import PresentCutoff, PresentState
from tracker.domain.results import Estimate, NotEnough, Quantity
from tracker.estimators.counted_start import CountedStart
from tracker.estimators.drawn_packs import normal_draws
from tracker.estimators.intervals import of_draws
from tracker.physics.left_connected import hours_to_floor
from tracker.physics.load_profile import LoadProfile
from tracker.physics.pack_discharge import Discharge, Driver, discharge_by_periods, standing_current
from tracker.physics.pack_draws import ControllerDraws, PackDraws

FloatArray = NDArray[np.float64]

STANDBY_A = 0.01
"""What a controller draws itself as long as it is connected. From memory."""
RESTART_CELL_V = 0.10
"""So much above its trip a controller runs again where its restart is not known, of one cell. From memory."""
RESTARTS, PAUSE_S = 3, 10.0
"""A driver who goes on does so this often, after waiting so long. From memory."""


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


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Scene:
    """Versions of a pack under versions of a load.

    Attributes
    ----------
    versions : PackDraws
        Of the pack
    load : LoadProfile
        Of the model
    """

    versions: PackDraws
    load: LoadProfile


def present_each(
    controllers: Sequence[Controller], trips: Sequence[Trips], alone: Sequence[float], series: int, wanted_risk: float,
    counted: CountedStart | None = None,
) -> tuple[PresentCutoff, ...]:  # fmt: skip
    """What each controller of a model risks as it stands.

    Parameters
    ----------
    controllers : Sequence[Controller]
        As set [1]
    trips : Sequence[Trips]
        Where each lets go, beside it [V]
    alone : Sequence[float]
        Chance that a cell goes below its floor if only this controller ended the run, beside it [1]
    series : int
        Cells in series [1]
    wanted_risk : float
        Chance of that which is put up with [1]
    counted : CountedStart, optional
        What those that count cells take the pack for [1]

    Returns
    -------
    tuple[PresentCutoff, ...]
        One a controller, in the order given [1]

    References
    ----------
    .. [1] No source: how controllers behave is common practice.
    """
    return tuple(
        _present(controller, trip, series, risk, wanted_risk, counted, several=len(controllers) > 1)
        for controller, trip, risk in zip(controllers, trips, alone, strict=True)
    )


def present_together(
    controllers: Sequence[Controller], trips: Sequence[Trips], scenes: Sequence[Scene], *, floor_v: float, receiver_a: float, seed: int,
    counted: NDArray[np.int_] | None = None,
) -> PresentState | None:  # fmt: skip
    """What the controllers of a model come to together as they stand.

    Parameters
    ----------
    controllers : Sequence[Controller]
        As set [1]
    trips : Sequence[Trips]
        Where each lets go, beside it [V]
    scenes : Sequence[Scene]
        As usual first, then whatever else a cutoff has to stand [1]
    floor_v : float
        Voltage of a cell not to go below [V]
    receiver_a : float
        Receiver and servos [A]
    seed : int
        Of the draw [1]
    counted : NDArray, optional
        Cells that those count which count cells, shape (draws,); as many as there are when left out [1]

    Returns
    -------
    PresentState or None
        All of them; None where there is none [1]

    References
    ----------
    .. [1] No source: how controllers behave is common practice.
    """
    if not controllers:
        return None
    drawn = [
        _drawn(controller, trip, scenes[0].versions, len(controllers), seed + 10 + i, counted)
        for i, (controller, trip) in enumerate(zip(controllers, trips, strict=True))
    ]

    def run(scene: Scene, driver: Driver | None = None) -> Discharge:
        # How far below the floor a cell goes does not matter, what a driver takes who goes on does.
        until_v = floor_v if driver is None else -np.inf
        return discharge_by_periods(scene.versions, drawn, scene.load, receiver_a=receiver_a, driver=driver, until_cell_v=until_v)

    stopped = [run(scene) for scene in scenes]
    driven = run(scenes[0], Driver(restarts=RESTARTS, pause_s=PAUSE_S))
    hours = hours_to_floor(scenes[0].versions, stopped[0].soc, standing_current(drawn, receiver_a), floor_v)
    risk = max(_risk(one, floor_v) for one in stopped)
    return PresentState(
        below_floor_probability=risk,
        driven_on_probability=max(risk, _risk(driven, floor_v)),
        after_first_ah=of_draws(driven.charge_after_ah),
        hours_to_floor=_hours(hours),
    )


def pack_trip(controller: Controller, trip: Trips, series: int) -> Quantity:
    """Where a controller lets go, of the whole pack.

    Parameters
    ----------
    controller : Controller
        As set [1]
    trip : Trips
        Where it lets go, of the pack or of one cell in its mode [V]
    series : int
        Cells in series [1]

    Returns
    -------
    Quantity
        Of the pack; NotEnough where it never does [V]

    References
    ----------
    .. [1] A controller that counts cells multiplies by them.
    """
    if isinstance(trip.trip_v, NotEnough):
        return trip.trip_v
    times = series if controller.cutoff_mode == "cell_v" else 1
    value = trip.trip_v
    return Estimate(value=times * value.value, low=times * value.low, high=times * value.high, sd=times * value.sd)


def _drawn(
    controller: Controller, trip: Trips, versions: PackDraws, among: int, seed: int, counted: NDArray[np.int_] | None
) -> ControllerDraws:  # fmt: skip
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
        mode=mode, trip_v=trip_v, restart_v=None if trip.latches else restart_v, load_share=share, standby_a=STANDBY_A, powers_receiver=receiver,
        counted_cells=counted,
    )  # fmt: skip


def _present(
    controller: Controller, trip: Trips, series: int, risk: float, wanted: float, counted: CountedStart | None, *, several: bool
) -> PresentCutoff:  # fmt: skip
    protects = risk <= wanted and isinstance(trip.trip_v, Estimate)
    if isinstance(trip.trip_v, NotEnough):
        verdict = "It never lets go: it does not protect the pack. Use an alarm on every cell and a timer."
    elif protects:
        verdict = "High enough by itself." + (" The pack is protected only if the others let go no lower." if several else "")
    elif risk >= 0.5:
        verdict = "Far too low: run until it lets go, a cell is more likely than not below its floor."
    else:
        verdict = f"Too low: run until it lets go, a cell is below its floor in {100 * risk:.0f} % of runs."
    if counted is not None and counted.share > 0 and controller.cutoff_mode == "cell_v" and isinstance(trip.trip_v, Estimate):
        verdict += _miscounted(counted, trip.trip_v, series)
    return PresentCutoff(
        controller=controller.name,
        trip_v=pack_trip(controller, trip, series),
        tested=trip.tested,
        protects=protects,
        below_floor_probability=risk,
        verdict=verdict,
    )


def _miscounted(counted: CountedStart, trip_v: Estimate, series: int) -> str:
    """What it makes of a pack that is plugged in partly empty."""
    share = "less than 1 %" if counted.share < 0.01 else f"{100 * counted.share:.0f} %"
    basis = "assumed, for too few runs tell how full it is plugged in" if counted.assumed else "as runs written down began"
    return (
        f" Plugged in below {counted.below_v:.1f} V, partly empty, it counts {series} cells as {counted.fewest} and lets go at "
        f"{counted.fewest * trip_v.value / series:.2f} V a cell: in {share} of runs, {basis}, and part of its risk."
    )


def _risk(run: Discharge, floor_v: float) -> float:
    return float((run.lowest_cell_v.min(axis=1) < floor_v).mean())


def _hours(hours: FloatArray) -> Quantity:
    if not np.all(np.isfinite(hours)):
        return NotEnough("Nothing draws on the pack once the motors have stopped.")
    return of_draws(hours)
