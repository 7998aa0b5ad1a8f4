"""What a model draws: from its runs, from what its owner typed, or guessed from the size of the pack."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

import numpy as np

from tracker.domain.controller import Vehicle
from tracker.domain.pack import Pack
from tracker.domain.planning import CutoffTask, PlannedLoad
from tracker.domain.results import AssessedRun, Estimate
from tracker.domain.trace import TraceSummary
from tracker.estimators.draws import TYPED_DRAW_RELATIVE_SD
from tracker.estimators.intervals import estimate
from tracker.estimators.recorded_load import RecordedLoad, recorded_load

LEAST_RUNS = 3
LATEST = 30
"""Runs the load is taken from: the latest."""
LEAST_SPREAD = 0.10
"""However alike runs were, the next may differ this much. From memory."""
CLEAR = 0.25
"""A run shows what a model draws when its charge is known to within this, relative."""
BURST, BURST_SD = 1.8, 0.5
"""Current in bursts over the mean, where none was written down. From memory."""
GUESS_C, GUESS_SD = 6.0, 0.4
"""Where nothing shows it: a pack is emptied in some ten minutes. From memory."""


def planned_load(
    task: CutoffTask, pack: Pack, vehicle: Vehicle, runs: Sequence[AssessedRun], recordings: Sequence[TraceSummary] = ()
) -> PlannedLoad:
    """What a model draws from a pack.

    Parameters
    ----------
    task : CutoffTask
        What was asked, perhaps with a load typed in [A]
    pack : Pack
        The pack [1]
    vehicle : Vehicle
        The model [1]
    runs : Sequence[AssessedRun]
        Runs of this model, on this pack or others, in time order [1]
    recordings : Sequence[TraceSummary]
        What recordings of this model show, in time order [1]

    Returns
    -------
    PlannedLoad
        Mean current and current in bursts [A]

    References
    ----------
    .. [1] No source: bookkeeping; spreads named in this file.
    """
    shown = recorded_load(recordings)
    ratio, ratio_sd, ratio_words = _burst_ratio(runs) if shown is None else _recorded_ratio(shown)
    currents = [current for each in runs if (current := _current_a(each)) is not None][-LATEST:]
    guessed = False
    if task.mean_a is not None:
        mean_a, sd_a, basis = task.mean_a, LEAST_SPREAD * task.mean_a, "the mean current typed in"
    elif len(currents) >= LEAST_RUNS:
        mean_a = median(currents)
        spread = math.sqrt(sum((current / mean_a - 1.0) ** 2 for current in currents) / (len(currents) - 1))
        sd_a, basis = max(spread, LEAST_SPREAD) * mean_a, f"{len(currents)} runs of {vehicle.name}"
    elif shown is not None:
        mean_a, sd_a, basis = shown.middle_a, max(shown.spread_a, LEAST_SPREAD * shown.middle_a), _recordings(shown, vehicle)
    elif vehicle.usual_a is not None:
        mean_a, sd_a, basis = (
            vehicle.usual_a,
            TYPED_DRAW_RELATIVE_SD * vehicle.usual_a,
            f"the usual current written down for {vehicle.name}",
        )
    else:
        mean_a, guessed = GUESS_C * pack.capacity_ah, True
        sd_a, basis = GUESS_SD * mean_a, "the size of the pack alone, for nothing tells what the model draws"
    if task.burst_a is not None:
        burst = estimate(task.burst_a, LEAST_SPREAD * task.burst_a, low=0.0)
    else:
        burst = estimate(ratio * mean_a, math.hypot(ratio_sd * mean_a, ratio * sd_a), low=0.0)
        basis += ratio_words
    return PlannedLoad(
        mean_a=estimate(mean_a, sd_a, low=0.0),
        burst_a=burst,
        basis=basis
        if shown is None or basis == _recordings(shown, vehicle)
        else f"{basis}, its ups and downs from {_recordings(shown, vehicle)}",
        guessed=guessed,
        shape_s=() if shown is None else shown.shape_s,
        shape_of_mean=() if shown is None else shown.shape_of_mean,
    )


def _current_a(assessed: AssessedRun) -> float | None:
    used = assessed.estimate.used_ah
    if not isinstance(used, Estimate) or used.value <= 0 or used.sd > CLEAR * used.value:
        return None
    return used.value * 3600.0 / assessed.run.run_s


def _recorded_ratio(shown: RecordedLoad) -> tuple[float, float, str]:
    middle = median(shown.burst_ratio)
    spread = 0.0 if len(shown.burst_ratio) < 2 else float(np.std(shown.burst_ratio, ddof=1))
    return middle, max(spread, 0.1 * middle), ""


def _recordings(shown: RecordedLoad, vehicle: Vehicle) -> str:
    count = len(shown.mean_a)
    return f"a recording of {vehicle.name}" if count == 1 else f"{count} recordings of {vehicle.name}"


def _burst_ratio(runs: Sequence[AssessedRun]) -> tuple[float, float, str]:
    ratios = [
        each.run.loaded_a / mean_a
        for each in runs[-LATEST:]
        if each.run.loaded_a is not None and (mean_a := each.run.mean_a or _current_a(each)) is not None and mean_a > 0
    ]
    ratios = [ratio for ratio in ratios if ratio >= 1.0]
    if len(ratios) < LEAST_RUNS:
        return BURST, BURST_SD, "; bursts as is usual"
    middle = median(ratios)
    spread = math.sqrt(sum((ratio - middle) ** 2 for ratio in ratios) / (len(ratios) - 1))
    return middle, max(spread, 0.1 * middle), ", bursts as written down with them"
