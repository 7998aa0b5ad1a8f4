"""Where a controller should let go: what each cutoff risks, and what it leaves of charge and run time.

Versions of the pack, the load and the controllers are drawn as they may be by all that is known, and run. The same draws
serve every cutoff, so that a higher one can never seem to risk more. How large the draw is: `DRAWS` versions leave a risk
of 1 % uncertain by 0.16 %; the recommendation is therefore the lowest cutoff whose risk is below the wanted one with 95 %
confidence, and stays right when the packs are drawn again.

A cutoff stays set when the driver eases off and when the pack warms up, and a gently driven warm pack is the one whose
weakest cell falls off its knee while the mean still looks well. The risk of a cutoff is therefore the larger of that of the
load and temperature asked for and that of gentle driving at 25 °C; so colder, harder driven or weaker never means lower.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tracker.domain.controller import Controller
from tracker.domain.pack import Pack
from tracker.domain.planning import CutoffChoice, CutoffPlan, CutoffPoint, CutoffTask, PresentState
from tracker.domain.results import Estimate, NotEnough, Quantity
from tracker.estimators.cell_family import CellFamily, family
from tracker.estimators.counted_start import CountedStart, counted_start
from tracker.estimators.cutoff_scenes import DRAWS, RECEIVER_A, SEED, Setup, scenes_of, versions_of
from tracker.estimators.drawn_packs import normal_draws
from tracker.estimators.intervals import of_rows
from tracker.estimators.present_cutoffs import Scene, Trips, pack_trip, present_each, present_together
from tracker.physics.cutoff_sweep import CutoffSweep, cutoff_sweep
from tracker.physics.pack_draws import ControllerDraws

FloatArray = NDArray[np.float64]

CONFIDENCE_Z = 1.645
OFFERED_STEP_V = 0.1
"""Cutoffs a controller can be set to: tenths of a volt, for all that is known of it. Common practice."""
TRIP_SD_V = 0.05
"""How far a controller lets go from its setting, of a pack, before it was tested on the bench. From memory."""
LEAST_TIMER_S = 30.0
NEVER_V = 0.5
"""A pack that comes down to this was run without a cutoff."""
TIMER_SHARE = 0.10
"""The timer leaves the reserve in all but this share of the versions."""
LEAST_USE = 0.10
"""A cutoff that leaves less than this part of the charge to use is no cutoff to drive with. The tool's own line."""
LOWEST_PART, HIGHEST_SOC = 0.75, 0.75
"""The row of cutoffs goes from this part of the floor to the voltage at rest at this charge."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CutoffStudy:
    """What every cutoff comes to, whatever risk is wanted: the long part of a plan, from which plans for other risks are quickly made.

    Attributes
    ----------
    cutoffs_v : FloatArray
        Those looked at, rising [V]
    risk : FloatArray
        Chance that a cell goes below its floor, beside them [1]
    usable_ah : tuple[Estimate, ...]
        Charge a run takes, beside them [Ah]
    run_s : tuple[Estimate, ...]
        Run time, beside them [s]
    alone : tuple[float, ...]
        Chance with each present controller by itself [1]
    timer_s : Quantity
        Run time that leaves the reserve [s]
    draws : int
        How many versions
    counted : CountedStart or None
        What controllers that count cells take the pack for; None where there is none
    """

    cutoffs_v: FloatArray
    risk: FloatArray
    usable_ah: tuple[Estimate, ...]
    run_s: tuple[Estimate, ...]
    alone: tuple[float, ...]
    timer_s: Quantity
    draws: int
    counted: CountedStart | None = None


def plan_cutoff(task: CutoffTask, setup: Setup, *, seed: int = SEED, draws: int = DRAWS) -> CutoffPlan:
    """Where the controllers of a model should let go on a pack, and what the present ones risk.

    Parameters
    ----------
    task : CutoffTask
        What is wanted [1]
    setup : Setup
        The pack and the model [1]
    seed : int
        Of the draw [1]
    draws : int
        How many versions [1]

    Returns
    -------
    CutoffPlan
        Without findings [V], [Ah], [s]

    References
    ----------
    .. [1] JCGM 101:2008, propagation of distributions by a Monte Carlo method.
    .. [2] E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212, doi 10.1080/01621459.1927.10502953: limits of a share.
    """
    scenes = scenes_of(task, setup, versions_of(setup, seed=seed, draws=draws), seed)
    study = study_cutoffs(setup, scenes, seed=seed)
    return plan_from(study, task, setup, study_together(setup, scenes, study, seed=seed))


def study_cutoffs(setup: Setup, scenes: tuple[Scene, Scene], gently: CutoffSweep | None = None, *, seed: int = SEED) -> CutoffStudy:
    """What every cutoff risks and leaves, and what each present controller does by itself; the wanted risk does not matter to it.

    Parameters
    ----------
    setup : Setup
        The pack and the model [1]
    scenes : tuple[Scene, Scene]
        What a cutoff has to stand: as usual, and driven gently [1]
    gently : CutoffSweep, optional
        What `gently_swept` gives for the second, where it is known [1]
    seed : int
        Of the draw of the controllers [1]

    Returns
    -------
    CutoffStudy
        Of a row of cutoffs [V], [Ah], [s]

    References
    ----------
    .. [1] JCGM 101:2008, propagation of distributions by a Monte Carlo method.
    """
    pack, cells = setup.pack, family(setup.pack.chemistry)
    floor_v, versions = cells.chemistry["floor_v"], scenes[0].versions
    present, cutoffs = _present_trips(setup), _looked_at(setup)
    sweeps = [_swept(scenes[0], cutoffs, seed), gently or gently_swept(setup, scenes[1], seed=seed)]
    risk = np.max([_risks(sweep, floor_v) for sweep in sweeps], axis=0)
    counts = any(controller.cutoff_mode == "cell_v" for controller in setup.controllers)
    counted = counted_start(versions, setup.starts_soc, cells.chemistry["full_v"], seed + 3) if counts else None
    alone = tuple(
        max(_alone(sweep, trip, floor_v, seed, counted.cells / pack.series if counted and one.cutoff_mode == "cell_v" else 1.0) for sweep in sweeps)
        for one, trip in zip(setup.controllers, present, strict=True)
    )  # fmt: skip
    kept = np.isin(cutoffs, offered_cutoffs(pack, cells))
    usual = sweeps[0]
    return CutoffStudy(
        cutoffs_v=cutoffs[kept],
        risk=risk[kept],
        usable_ah=of_rows(usual.charge_ah[kept]),
        run_s=of_rows(usual.run_s[kept]),
        alone=alone,
        timer_s=_timer(scenes[0], cells.chemistry["reserve_soc"], usual, floor_v),
        draws=versions.draws,
        counted=counted,
    )


def gently_swept(setup: Setup, scene: Scene, *, seed: int = SEED) -> CutoffSweep:
    """How every cutoff fares when the model is driven gently in the warm, which is the same however else it is driven.

    Parameters
    ----------
    setup : Setup
        The pack and the model [1]
    scene : Scene
        Gentle driving [1]
    seed : int
        Of the draw of the controllers [1]

    Returns
    -------
    CutoffSweep
        Only as far as the risk goes, not how far below its floor a cell would go [V]

    References
    ----------
    .. [1] JCGM 101:2008, propagation of distributions by a Monte Carlo method.
    """
    floor_v = family(setup.pack.chemistry).chemistry["floor_v"]
    return _swept(scene, _looked_at(setup), seed, until_cell_v=floor_v)


def study_together(setup: Setup, scenes: Sequence[Scene], study: CutoffStudy, *, seed: int = SEED) -> PresentState | None:
    """What the present controllers come to together, which takes as long again as all the cutoffs.

    Parameters
    ----------
    setup : Setup
        The pack and the model [1]
    scenes : Sequence[Scene]
        Those of the study [1]
    study : CutoffStudy
        What every cutoff comes to [1]
    seed : int
        Of the draw of the controllers [1]

    Returns
    -------
    PresentState or None
        All of them; None where there is none [1]

    References
    ----------
    .. [1] JCGM 101:2008, propagation of distributions by a Monte Carlo method.
    """
    together = present_together(
        setup.controllers, setup.trips, scenes, floor_v=family(setup.pack.chemistry).chemistry["floor_v"], receiver_a=RECEIVER_A, seed=seed,
        counted=None if study.counted is None else study.counted.cells,
    )  # fmt: skip
    if together is None or len(study.alone) != 1:
        return together
    # Where there is one, that is what it does by itself, read off the finer row of cutoffs.
    [alone] = study.alone
    return replace(together, below_floor_probability=alone, driven_on_probability=max(alone, together.driven_on_probability))


def plan_from(
    study: CutoffStudy, task: CutoffTask, setup: Setup, together: PresentState | None = None, *, whole: bool = True
) -> CutoffPlan:  # fmt: skip
    """Plan for the wanted risk, from a study of the same task and setup but for that risk.

    Parameters
    ----------
    study : CutoffStudy
        What every cutoff comes to [1]
    task : CutoffTask
        What is wanted [1]
    setup : Setup
        The pack and the model [1]
    together : PresentState, optional
        What its controllers come to together [1]
    whole : bool
        Whether that is known

    Returns
    -------
    CutoffPlan
        Without findings [V], [Ah], [s]

    References
    ----------
    .. [1] No source: a choice among what was studied.
    """
    pack, cells = setup.pack, family(setup.pack.chemistry)
    floor_v = cells.chemistry["floor_v"]
    choice = _choice(study, pack, task.risk)
    return CutoffPlan(
        task=task,
        series=pack.series,
        full_v=cells.chemistry["full_v"],
        floor_v=floor_v,
        reserve_soc=cells.chemistry["reserve_soc"],
        learned=setup.learned,
        load=setup.load,
        recommended=choice,
        reason=_reason(choice, study.cutoffs_v, study.risk, task, setup, floor_v),
        timer_s=study.timer_s,
        present=present_each(setup.controllers, setup.trips, study.alone, pack.series, task.risk, study.counted),
        together=together,
        whole=whole,
        curve=tuple(
            CutoffPoint(pack_v=float(v), below_floor_probability=float(p), usable_ah=q.value, run_s=t.value)
            for v, p, q, t in zip(study.cutoffs_v, study.risk, study.usable_ah, study.run_s, strict=True)
        ),
        draws=study.draws,
    )


def _present_trips(setup: Setup) -> list[Estimate]:
    return [_lets_go(controller, trip, setup.pack) for controller, trip in zip(setup.controllers, setup.trips, strict=True)]


def _looked_at(setup: Setup) -> FloatArray:
    """Cutoffs that are offered, and those there are."""
    offered = offered_cutoffs(setup.pack, family(setup.pack.chemistry))
    return np.unique(np.concatenate([offered, [trip.value for trip in _present_trips(setup)]]))


def _swept(scene: Scene, cutoffs: FloatArray, seed: int, until_cell_v: float = -np.inf) -> CutoffSweep:
    one, error_v = ControllerDraws(mode="pack_v"), _trip_error_v(scene.versions.draws, seed)
    return cutoff_sweep(
        scene.versions, one, scene.load, cutoffs, trip_error_v=error_v, receiver_a=RECEIVER_A, until_cell_v=until_cell_v
    )  # fmt: skip


def _trip_error_v(draws: int, seed: int) -> FloatArray:
    return TRIP_SD_V * normal_draws(draws, 1, seed + 2)[:, 0]


def _lets_go(controller: Controller, trip: Trips, pack: Pack) -> Estimate:
    """Where a controller lets go, of the pack; just above nothing where it never does."""
    volts = pack_trip(controller, trip, pack.series)
    never = Estimate(value=NEVER_V, low=NEVER_V, high=NEVER_V, sd=TRIP_SD_V)
    return never if isinstance(volts, NotEnough) or volts.value < NEVER_V else volts


def _alone(sweep: CutoffSweep, trip: Estimate, floor_v: float, seed: int, counted: FloatArray | float) -> float:
    """Risk of one controller by itself, which is more or less sure of its trip than one that was only set."""
    draws = sweep.charge_ah.shape[1]
    # Each version's run to each cutoff of the row is known; one that lets go further off its mean stands between two others.
    error_v = _trip_error_v(draws, seed)
    at_v = (trip.value + trip.sd / TRIP_SD_V * error_v) * counted - error_v
    below = (sweep.lowest_v < floor_v).astype(np.float64)
    upper = np.clip(np.searchsorted(sweep.cutoffs_v, at_v), 1, len(below) - 1)
    low_v, high_v = sweep.cutoffs_v[upper - 1], sweep.cutoffs_v[upper]
    part = np.clip((at_v - low_v) / (high_v - low_v), 0.0, 1.0)
    each = np.arange(draws)
    return float(((1.0 - part) * below[upper - 1, each] + part * below[upper, each]).mean())


def _risks(sweep: CutoffSweep, floor_v: float) -> FloatArray:
    return np.asarray((sweep.lowest_v < floor_v).mean(axis=1), dtype=np.float64)


def offered_cutoffs(pack: Pack, cells: CellFamily) -> FloatArray:
    """Cutoffs worth looking at, in the steps a controller offers.

    Parameters
    ----------
    pack : Pack
        The pack [1]
    cells : CellFamily
        Its chemistry made ready [1]

    Returns
    -------
    FloatArray
        Of the pack, rising [V]

    References
    ----------
    .. [1] Common practice.
    """
    low = LOWEST_PART * cells.chemistry["floor_v"] * pack.series
    high = float(cells.curve.voltage(HIGHEST_SOC)) * pack.series
    first, last = int(np.ceil(low / OFFERED_STEP_V - 1e-9)), int(np.floor(high / OFFERED_STEP_V + 1e-9))
    step = max(1, (last - first) // 48)
    return np.round(np.arange(first, last + 1, step) * OFFERED_STEP_V, 3)


def upper_limit(share: float, count: int) -> float:
    """Upper limit of a risk that so many draws showed, one-sided 95 %.

    Parameters
    ----------
    share : float
        Share of the draws [1]
    count : int
        How many draws [1]

    Returns
    -------
    float
        With 95 % confidence the risk is no larger [1]

    References
    ----------
    .. [1] E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212, doi 10.1080/01621459.1927.10502953.
    """
    z2 = CONFIDENCE_Z**2
    middle = share + z2 / (2.0 * count)
    half = CONFIDENCE_Z * np.sqrt(share * (1.0 - share) / count + z2 / (4.0 * count**2))
    return float((middle + half) / (1.0 + z2 / count))


def _choice(study: CutoffStudy, pack: Pack, wanted: float) -> CutoffChoice | None:
    kept = [place for place, share in enumerate(study.risk) if upper_limit(float(share), study.draws) <= wanted]
    if not kept or study.usable_ah[kept[0]].value < LEAST_USE * study.usable_ah[0].value:
        return None
    place = kept[0]
    return CutoffChoice(
        pack_v=float(study.cutoffs_v[place]),
        cell_v=float(study.cutoffs_v[place]) / pack.series,
        below_floor_probability=float(study.risk[place]),
        usable_ah=study.usable_ah[place],
        run_s=study.run_s[place],
    )


def _timer(usual: Scene, reserve: float, sweep: CutoffSweep, floor_v: float) -> Quantity:
    """Run time that leaves the reserve in the weakest cell and brings no cell under its floor, nine times in ten."""
    versions = usual.versions
    to_reserve_s = 3600.0 * ((versions.soc - reserve) * versions.capacity_ah).min(axis=1) / (usual.load.mean_a + RECEIVER_A)
    # The lowest cutoff at which a version stays above the floor is passed when the cell comes near it.
    safe = sweep.lowest_v >= floor_v
    to_floor_s = np.where(safe.any(axis=0), np.take_along_axis(sweep.run_s, safe.argmax(axis=0)[None, :], axis=0)[0], 0.0)
    spare_s = np.minimum(to_reserve_s, to_floor_s)
    timer_s = float(np.quantile(spare_s, TIMER_SHARE))
    if timer_s < LEAST_TIMER_S:
        return NotEnough("Under this load a cell is below its floor or its reserve almost from the start.")
    low, high = np.quantile(spare_s, [0.05, 0.95])
    return Estimate(value=timer_s, low=float(min(low, timer_s)), high=float(max(high, timer_s)), sd=float(np.std(spare_s)))


def _reason(
    choice: CutoffChoice | None, cutoffs: FloatArray, risk: Sequence[float] | FloatArray, task: CutoffTask, setup: Setup, floor_v: float
) -> str:  # fmt: skip
    known = "its own history" if setup.learned else "what is typical of its chemistry, for its own history says too little yet"
    wanted = f"{100 * task.risk:g} %"
    if choice is None:
        return (
            f"No cutoff up to {cutoffs[-1]:.2f} V keeps the chance that a cell goes below {floor_v:.2f} V at {wanted} and leaves more than hardly "
            f"any run: under this load the voltage sags too far even in a fuller pack. That is by {known}; take less current, warm the pack, "
            "or use a stronger one."
        )
    below = np.flatnonzero(cutoffs < choice.pack_v)
    next_lower = f", while {cutoffs[below[-1]]:.2f} V would risk {100 * risk[below[-1]]:.1f} %" if len(below) else ""
    return (
        f"At {choice.pack_v:.2f} V a cell goes below {floor_v:.2f} V in {100 * choice.below_floor_probability:.1f} % of runs at the most, whether "
        f"driven as usual at {task.pack_k - 273.15:.0f} °C or gently and warm{next_lower}. The weakest cell counts; the load is taken from "
        f"{setup.load.basis}, the pack by {known}."
    )
