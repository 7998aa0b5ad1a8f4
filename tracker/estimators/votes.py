"""What each kind of evidence says a run took out by itself, how much it counted, and which one disagrees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.domain.results import EvidenceVote
from tracker.domain.session import Run
from tracker.estimators.cell_family import CellFamily
from tracker.estimators.intervals import estimate
from tracker.estimators.knowledge import PackKnowledge
from tracker.estimators.outing_fit import OutingFit
from tracker.estimators.readings import Readings
from tracker.estimators.run_charge import (
    CHARGER_RELATIVE_SD,
    COUNT_STEP_OF_RATED,
    MEAN_CURRENT_RELATIVE_SD,
    METER_RELATIVE_SD,
    TRACE_RELATIVE_SD,
)

FloatArray = NDArray[np.float64]

SET_ASIDE_WEIGHT = 0.40
"""A reading whose robust weight fell this low, 2.9 standard uncertainties off, is said not to fit."""
CONTRADICT_SD = 3.0
"""This far apart one of them must be wrong, and the answer is left open between them."""
WEIGHTY_SHARE = 0.2
"""A reading that contradicts the others puts the answer in doubt only where it has a say in it."""
DISAGREE_SD = 3.0
"""Votes this many combined standard uncertainties apart disagree: 0.3 % of honest pairs would."""


@dataclass(frozen=True, slots=True, eq=False)
class Votes:
    """Votes of N outings of m runs, over rated capacity; NaN where a kind has nothing to say.

    Attributes
    ----------
    value, sd : dict[str, FloatArray]
        By kind of evidence, shape (N, m) [1]
    counted : dict[str, FloatArray]
        Mean robust weight of its readings, 0…1, shape (N, m) [1]
    """

    value: dict[str, FloatArray]
    sd: dict[str, FloatArray]
    counted: dict[str, FloatArray]


def cast(readings: Readings, fit: OutingFit, cells: CellFamily, known: PackKnowledge) -> Votes:
    """Let each kind of evidence vote by itself.

    Parameters
    ----------
    readings : Readings
        What was read [1]
    fit : OutingFit
        The answer from all evidence together [1]
    cells : CellFamily
        The chemistry made ready [1]
    known : PackKnowledge
        What was known of each pack [1]

    Returns
    -------
    Votes
        Charge over rated of each kind, run by run [1]

    References
    ----------
    .. [1] JCGM 100:2008, eq. (10), for the uncertainty of each.
    """
    value: dict[str, FloatArray] = {}
    sd: dict[str, FloatArray] = {}
    counted: dict[str, FloatArray] = {}
    n = fit.layout.cells
    capacity = np.exp(known.log_capacity).mean(axis=1)[:, None]
    capacity_sd = np.sqrt(known.covariance[:, :n, :n].mean(axis=(1, 2)))[:, None]
    for kind, when in (("rest_voltage", "after"), ("load_voltage", "load")):
        value[kind], sd[kind], counted[kind] = _voltage_vote(when, readings, fit, cells, known, capacity, capacity_sd)
    rated = readings.rated_ah[:, None]
    meter = readings.meter_ah / rated
    typed = readings.mean_a * readings.run_s / 3600.0 / rated
    has_meter, has_trace = ~np.isnan(meter), ~np.isnan(readings.trace_ah)
    # A mean current that comes from the recording, or stands beside it, says nothing besides it.
    value["meter"] = np.where(has_meter, meter, np.where(has_trace, np.nan, typed))
    relative = np.where(has_meter, METER_RELATIVE_SD, MEAN_CURRENT_RELATIVE_SD)
    sd["meter"] = np.hypot(relative * value["meter"], COUNT_STEP_OF_RATED)
    counted["meter"] = np.where(has_meter, fit.weight["meter"], fit.weight["mean_current"])
    value["trace"] = readings.trace_ah / rated
    sd["trace"] = np.hypot(np.hypot(TRACE_RELATIVE_SD * readings.trace_ah, readings.trace_sd_ah) / rated, COUNT_STEP_OF_RATED)
    counted["trace"] = fit.weight["trace"]
    value["usual_draw"] = readings.usual_ah / rated
    sd["usual_draw"] = readings.usual_sd_ah / rated
    counted["usual_draw"] = fit.weight["usual"]
    value["charger"], sd["charger"], counted["charger"] = _charger_vote(readings, fit, cells, capacity)
    return Votes(value, sd, counted)


def _voltage_vote(
    when: str, readings: Readings, fit: OutingFit, cells: CellFamily, known: PackKnowledge, capacity: FloatArray,
    capacity_sd: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:  # fmt: skip
    lay, n = fit.layout, fit.layout.cells
    end, end_sd, end_weight = _pack_reading(when, fit)
    start, start_sd, start_weight = _pack_reading("before", fit)
    # Without a reading before, the start is where the fit has it: after the last charge, or where the run before ended.
    drawn = np.cumsum(fit.charge, axis=1) - fit.charge
    fitted = fit.x[:, lay.start : lay.start + n].mean(axis=1)[:, None] - drawn / capacity
    unread = np.isnan(start)
    start = np.where(unread, fitted, start)
    start_sd = np.where(unread, np.maximum(readings.start_sd[:, None], 0.01), start_sd)
    shapes = cells.curve.shape_values(start) - cells.curve.shape_values(np.nan_to_num(end))
    deviation = known.deviation[:, None, :]
    spread = known.covariance[:, n:, n:]
    curve_sd = np.sqrt(np.einsum("nmk,nkl,nml->nm", shapes, spread, shapes))
    used = capacity * (start - end + np.sum(shapes * deviation, axis=2))
    sd = np.sqrt(np.square(capacity) * (np.square(start_sd) + np.square(end_sd) + np.square(curve_sd)) + np.square(used * capacity_sd))
    return used, sd, np.where(unread, end_weight, np.minimum(start_weight, end_weight))


def _pack_reading(when: str, fit: OutingFit) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean state of charge a reading stands for, from its cells or its total, leaving out cells set aside."""
    here = ~np.isnan(fit.scaled[when])
    kept = here & (fit.weight[when] > SET_ASIDE_WEIGHT)
    use = np.where(kept.any(axis=2, keepdims=True), kept, here)
    number = use.sum(axis=2)
    with np.errstate(invalid="ignore", divide="ignore"):
        soc = np.where(use, fit.read_soc[when], 0.0).sum(axis=2) / number
        sd = np.where(use, fit.row_sd[when], 0.0).sum(axis=2) / number
        weight = np.where(here, fit.weight[when], 0.0).sum(axis=2) / here.sum(axis=2)
    total = ~np.isnan(fit.scaled[f"{when}_total"])
    soc = np.where(total, fit.read_soc[f"{when}_total"], soc)
    sd = np.where(total, fit.row_sd[f"{when}_total"], sd)
    return soc, sd, np.where(total, fit.weight[f"{when}_total"], weight)


def _charger_vote(readings: Readings, fit: OutingFit, cells: CellFamily, capacity: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    lay, n = fit.layout, fit.layout.cells
    returned = cells.chemistry["charge_acceptance"] * readings.put_back_ah / readings.rated_ah
    start = fit.x[:, lay.start : lay.start + n].mean(axis=1)
    variance = np.diagonal(fit.covariance, axis1=1, axis2=2)
    missing = capacity[:, 0] * (fit.x[:, -1] - start)
    others = fit.charge.sum(axis=1, keepdims=True) - fit.charge
    value = (returned - missing - readings.idle_soc)[:, None] - others
    common = np.square(CHARGER_RELATIVE_SD * returned) + np.square(capacity[:, 0]) * (
        variance[:, -1] + variance[:, lay.start : lay.start + n].mean(axis=1)
    )
    own = np.square(fit.charge_sd)
    rest = own.sum(axis=1, keepdims=True) - own
    sd = np.sqrt(common[:, None] + rest + COUNT_STEP_OF_RATED**2 + np.square(readings.joined_sd)[:, None])
    weight = np.repeat(fit.weight["charger"], lay.runs, axis=1)
    return np.where(np.isnan(returned)[:, None], np.nan, value), sd, weight


def tally(votes: Votes, fit: OutingFit) -> Tally:
    """Weigh the votes against each other, for all runs at once.

    Parameters
    ----------
    votes : Votes
        Of all outings of the shape [1]
    fit : OutingFit
        Their answer [1]

    Returns
    -------
    Tally
        Shares, and which votes and readings do not fit [1]

    References
    ----------
    .. [1] JCGM 100:2008; weights are shares of the inverse variances.
    """
    kinds = tuple(votes.value)
    value = np.stack([votes.value[kind] for kind in kinds], axis=-1)
    sd = np.maximum(np.stack([votes.sd[kind] for kind in kinds], axis=-1), 1e-4)
    cast_here = np.isfinite(value) & np.isfinite(sd)
    trust = np.where(cast_here, np.clip(np.nan_to_num(np.stack([votes.counted[kind] for kind in kinds], axis=-1)), 0.0, 1.0), 0.0)
    value, sd = np.where(cast_here, value, 0.0), np.where(cast_here, sd, 1.0)
    share = trust / np.square(sd)
    together = share.sum(axis=-1, keepdims=True)
    number = cast_here.sum(axis=-1, keepdims=True)
    share = np.where(together > 0, share / np.where(together > 0, together, 1.0), cast_here / np.maximum(number, 1))
    off_cells = np.isnan(fit.scaled["after"]) | (fit.weight["after"] < SET_ASIDE_WEIGHT)
    misfit = np.zeros(value.shape[:2], dtype=bool)
    for when in ("before", "after"):
        missing, low = np.isnan(fit.scaled[when]), fit.weight[when] < SET_ASIDE_WEIGHT
        no_total = np.isnan(fit.scaled[f"{when}_total"])
        misfit |= (low & ~missing).any(axis=2) | (missing.any(axis=2) & (no_total | ~missing.all(axis=2)))
        misfit |= (fit.weight[f"{when}_total"] < SET_ASIDE_WEIGHT) & ~no_total
    readings_only = cast_here & np.array([kind != "usual_draw" for kind in kinds])
    apart, _ = _apart(value, sd, cast_here, DISAGREE_SD)
    contradicts, middle = _apart(value, sd, readings_only, CONTRADICT_SD)
    # Of votes that contradict the rest, the weightiest decides how far the answer is in doubt.
    heaviest = np.where(contradicts, share, -1.0).argmax(axis=-1, keepdims=True)
    gap = np.take_along_axis(value - middle, heaviest, axis=-1)[..., 0]
    weighty = np.take_along_axis(np.where(contradicts, share, 0.0), heaviest, axis=-1)[..., 0] > WEIGHTY_SHARE
    gap = np.where(weighty, gap, 0.0)
    return Tally(
        kinds,
        value.tolist(),
        sd.tolist(),
        cast_here.tolist(),
        share.tolist(),
        apart.tolist(),
        misfit.tolist(),
        off_cells.tolist(),
        gap.tolist(),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Tally:
    """Votes as plain lists, outing by outing, run by run: quicker to pick from than arrays."""

    kinds: tuple[str, ...]
    value: list[list[list[float]]]
    sd: list[list[list[float]]]
    cast: list[list[list[bool]]]
    share: list[list[list[float]]]
    apart: list[list[list[bool]]]
    misfit: list[list[bool]]
    """Whether some voltage of the run is missing or was set aside: only then are words looked for."""
    doubted: list[list[list[bool]]]
    gap: list[list[float]]
    """How far the weightiest reading that contradicts the others lies from them, over rated; 0 where none does."""


def _apart(value: FloatArray, sd: FloatArray, cast_here: NDArray[np.bool_], far: float) -> tuple[NDArray[np.bool_], FloatArray]:
    """Which votes lie too far from the others, of two that contradict each other both; and the mean of each one's others."""
    weight = np.where(cast_here, 1.0 / np.square(sd), 0.0)
    others = weight.sum(axis=-1, keepdims=True) - weight
    alone = others <= 1e-9 * weight
    safe = np.where(alone, 1.0, others)
    middle = ((weight * value).sum(axis=-1, keepdims=True) - weight * value) / safe
    off = cast_here & ~alone & (np.abs(value - middle) > far * np.sqrt(np.square(sd) + 1.0 / safe))
    # With three or more, the one farthest off from the median is the odd one out; the others only seem off because of it.
    several = (off.sum(axis=-1) > 1) & (cast_here.sum(axis=-1) > 2)
    if several.any():
        seen = np.where(cast_here[several], value[several], np.nan)
        gap = np.abs(seen - np.nanmedian(seen, axis=-1, keepdims=True)) / sd[several]
        gap = np.where(off[several], gap, -1.0)
        off[several] &= gap == gap.max(axis=-1, keepdims=True)
    return np.asarray(off, dtype=np.bool_), np.asarray(middle, dtype=np.float64)


def evidence_of(tally: Tally, fit: OutingFit, place: tuple[int, int], run: Run, rated_ah: float) -> tuple[EvidenceVote, ...]:
    """Votes of one run, in words and numbers.

    Parameters
    ----------
    tally : Tally
        Of all outings of the shape [1]
    fit : OutingFit
        Their answer [1]
    place : tuple[int, int]
        Outing and run within it [1]
    run : Run
        The run as written down [1]
    rated_ah : float
        Rated capacity of the pack [Ah]

    Returns
    -------
    tuple[EvidenceVote, ...]
        One for each kind that has something to say [Ah]

    References
    ----------
    .. [1] As in `tally`.
    """
    i, j = place
    misfits = misfit_words(fit, place, run) if tally.misfit[i][j] else ""
    found: list[EvidenceVote] = []
    for index, kind in enumerate(tally.kinds):
        if not tally.cast[i][j][index]:
            continue
        value = tally.value[i][j][index] * rated_ah
        words = misfits if kind == "rest_voltage" else ""
        off = bool(words) or tally.apart[i][j][index]
        if off and not words:
            words = f"{1000 * value:,.0f} mAh by itself, too far from what the other evidence says"
        answer = estimate(value, tally.sd[i][j][index] * rated_ah)
        found.append(EvidenceVote(kind=kind, used_ah=answer, weight=tally.share[i][j][index], disagrees=off, words=words))
    return tuple(found)


def misfit_words(fit: OutingFit, place: tuple[int, int], run: Run) -> str:
    """Which voltage readings of a run do not fit, in words.

    Parameters
    ----------
    fit : OutingFit
        The answer [1]
    place : tuple[int, int]
        Outing and run within it [1]
    run : Run
        The run as written down [1]

    Returns
    -------
    str
        Empty when all fit [1]

    References
    ----------
    .. [1] No source: wording.
    """
    parts: list[str] = []
    for when, volts in (("before", run.before_v), ("after", run.after_v)):
        if not volts:
            continue
        total = len(volts) != fit.layout.cells
        scaled = fit.scaled[f"{when}_total"][place] if total else fit.scaled[when][place]
        weights = fit.weight[f"{when}_total"][place] if total else fit.weight[when][place]
        for cell, (read, gap, weight) in enumerate(zip(volts, np.atleast_1d(scaled), np.atleast_1d(weights), strict=True), start=1):
            name = "the pack" if total else f"cell {cell}"
            if np.isnan(gap):
                parts.append(f"{read:.2f} V for {name} {when} the run cannot be and was left out")
            elif weight < SET_ASIDE_WEIGHT:
                parts.append(f"{read:.2f} V for {name} {when} the run does not fit and counted little")
    return "; ".join(parts)


def doubted_cells(tally: Tally, place: tuple[int, int], run: Run) -> frozenset[int]:
    """Cells whose reading after a run was set aside.

    Parameters
    ----------
    tally : Tally
        Of all outings of the shape [1]
    place : tuple[int, int]
        Outing and run within it [1]
    run : Run
        The run as written down [1]

    Returns
    -------
    frozenset[int]
        Numbers of the cells, from 1 at the negative end [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    doubted = tally.doubted[place[0]][place[1]]
    if len(run.after_v) != len(doubted) or not any(doubted):
        return frozenset()
    return frozenset(number for number, doubt in enumerate(doubted, start=1) if doubt)
