"""What an outing shows of a pack's traits: resistance of each cell, how it relaxes after load, cells that lose by standing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.domain.session import Charge
from tracker.estimators.cell_family import CellFamily
from tracker.estimators.knowledge import PackKnowledge
from tracker.estimators.outing_fit import OutingFit
from tracker.estimators.outings import Outing, is_full
from tracker.estimators.readings import MONTH_S, Readings
from tracker.physics.robust_fit import student_weight
from tracker.units import STANDARD_TEMPERATURE_K

FloatArray = NDArray[np.float64]

BURST, BURST_SD = 1.6, 0.4
"""Highest over mean current near the end of a run, and its spread, when no current was written down. From memory."""
SHOWN_RESISTANCE_SD = 0.12
"""Relative: what a charger shows of a cell's resistance scatters so much from one time to the next. From memory."""
SHOWN_AT_SOC = 0.9
"""State of charge at which a charger shows resistance: near the end of the charge."""
LEAST_C_RATE = 0.3
"""A sag under less current than this says nothing of the resistance."""
LOADED_SD_V = 0.02
CURRENT_RELATIVE_SD = 0.08
STEP_RELATIVE_SD = 0.10
"""Steps of current over two seconds show a resistance that is some way off the one a whole burst sags by. From memory."""
LEAST_SD = 0.08
"""However small the scatter, one sag settles the resistance no better than this, relative. From memory."""
TOTAL_CELL_SD = 0.15
"""How far a cell's resistance may lie from the mean of all, when only the pack's voltage was read. From memory."""
CORRECTED_V = 0.004
"""A reading corrected by less than this says nothing of how the pack relaxes."""
SLOW_RELATIVE_SD = 0.5
BALANCE_SD_SOC = 0.010
"""How far apart a charge leaves the cells of a pack at random. From memory."""
LOSS_SD_PER_MONTH = 0.10
"""How far cells of a pack ordinarily differ in what they lose by standing. From memory."""
OFFSET_SD_SOC = 0.006
"""How far apart cells of a pack always come off the charger. From memory."""
LEAST_STAND_S = 86400.0
SLIP_SOC = 0.25
"""Cells further apart than this after standing were misread."""
MOST_ODD = 4.0
"""A standing says no more than this many standard uncertainties beyond what those before it led to expect."""
SURE = 2.0
"""Excess loss enters estimates when it is this many standard uncertainties from nothing."""
SUM_MEMORY = 0.98
"""Old standings count less: by this factor with each outing."""


@dataclass(frozen=True, slots=True, eq=False)
class TraitsSaid:
    """What N outings say of the traits: precision, and precision times value, shape (N, n + 1)."""

    precision: FloatArray
    vector: FloatArray


def traits_said(
    outings: Sequence[Outing], readings: Readings, fit: OutingFit, cells: CellFamily, known: PackKnowledge
) -> TraitsSaid:  # fmt: skip
    """What outings of one shape say of resistance and relaxation.

    Parameters
    ----------
    outings : Sequence[Outing]
        N of them [1]
    readings : Readings
        What was read [1]
    fit : OutingFit
        What they took [1]
    cells : CellFamily
        The chemistry made ready [1]
    known : PackKnowledge
        What was known of each pack before [1]

    Returns
    -------
    TraitsSaid
        Of the logarithm of each cell's resistance at 25 °C, and of the relaxation over typical [1]

    Notes
    -----
    Resistance: ``(rested voltage at the state after the run - slow part - voltage under load) / current``, brought to 25 °C
    and half charge; and what a charger shows, which at 1 kHz reads lower than a step of direct current.

    References
    ----------
    .. [1] IEC 61960-3, resistance by direct current (numbers of the standard from secondary sources).
    """
    n = fit.layout.cells
    precision, vector = np.zeros((len(outings), n + 1)), np.zeros((len(outings), n + 1))
    if (~np.isnan(readings.loaded_v)).any() or (~np.isnan(readings.loaded_mean_v)).any():
        value, sd = _from_sag(readings, fit, cells, known)
        weight = np.where(np.isfinite(sd) & np.isfinite(value), 1.0 / np.square(np.nan_to_num(sd, nan=1.0)), 0.0)
        log_ohm = np.log(known.resistance_ohm)[:, None, :]
        weight *= _credible(np.nan_to_num(value) - log_ohm, np.nan_to_num(sd, nan=1.0), known.resistance_relative_sd[:, None, :])
        # Runs of one outing share their errors: they count as their mean, not as so many independent ones.
        seen = np.maximum((weight > 0).sum(axis=1), 1)
        precision[:, :n] += weight.sum(axis=1) / seen
        vector[:, :n] += (weight * np.nan_to_num(value)).sum(axis=1) / seen
    _add_steps(precision, vector, readings, fit, cells, known)
    for i, outing in enumerate(outings):
        shown = _shown(outing.after, n, cells)
        if shown is not None:
            off = shown - np.log(known.resistance_ohm[i])
            shown_weight = _credible(off, SHOWN_RESISTANCE_SD, known.resistance_relative_sd[i]) / SHOWN_RESISTANCE_SD**2
            precision[i, :n] += shown_weight
            vector[i, :n] += shown_weight * shown
    precision[:, n], vector[:, n] = _relaxation(readings, fit, known)
    return TraitsSaid(precision, vector)


def _add_steps(
    precision: FloatArray, vector: FloatArray, readings: Readings, fit: OutingFit, cells: CellFamily, known: PackKnowledge
) -> None:
    """Add what steps of a recorded current say of each cell's resistance."""
    own = ~np.isnan(readings.step_ohm)
    if not own.any() and np.isnan(readings.step_mean_ohm).all():
        return
    n = fit.layout.cells
    ohm = np.where(own, readings.step_ohm, readings.step_mean_ohm[..., None])
    sd_ohm = np.where(own, readings.step_sd_ohm, readings.step_mean_sd_ohm[..., None])
    seen = np.isfinite(ohm) & (np.nan_to_num(ohm) > 0) & np.isfinite(sd_ohm)
    middle = np.clip((fit.state(0) + fit.state(1)) / 2.0, 0.05, 1.0)
    factor = cells.resistance_factor(middle, readings.pack_k[..., None])
    value = np.log(np.where(seen, ohm, 1.0) / factor)
    sd = np.hypot(np.where(seen, sd_ohm / np.where(seen, ohm, 1.0), 1.0), STEP_RELATIVE_SD)
    sd = np.where(own, sd, np.hypot(sd, TOTAL_CELL_SD))
    weight = np.where(seen, _credible(value - np.log(known.resistance_ohm)[:, None, :], sd, known.resistance_relative_sd[:, None, :]), 0.0)
    weight = weight / np.square(sd)
    runs = np.maximum(seen.sum(axis=1), 1)
    precision[:, :n] += weight.sum(axis=1) / runs
    vector[:, :n] += (weight * value).sum(axis=1) / runs


def _credible(off: FloatArray, sd: FloatArray | float, known_sd: FloatArray) -> FloatArray:
    """Weight, 0…1, of a resistance that is so far off from what was known of it: a slip of the pen is not averaged in."""
    return np.minimum(1.0, student_weight(off / np.hypot(sd, known_sd)))


def _shown(charge: Charge | None, n: int, cells: CellFamily) -> FloatArray | None:
    if charge is None or len(charge.cell_ohm) != n or min(charge.cell_ohm) <= 0:
        return None
    temperature_k = STANDARD_TEMPERATURE_K if charge.pack_k is None else charge.pack_k
    return np.asarray(np.log(np.asarray(charge.cell_ohm) / cells.resistance_factor(SHOWN_AT_SOC, temperature_k)), dtype=np.float64)


def _from_sag(readings: Readings, fit: OutingFit, cells: CellFamily, known: PackKnowledge) -> tuple[FloatArray, FloatArray]:
    """Logarithm of each cell's resistance from its sag at the end of each run, with its standard uncertainty, shape (N, m, n)."""
    lay, n = fit.layout, fit.layout.cells
    inverse = np.exp(-fit.x[:, :n] - fit.expected_log_capacity)
    held = np.clip(fit.state(1), 0.02, 1.0)
    own = np.isnan(readings.loaded_mean_v)[..., None]
    volts = np.where(own, readings.loaded_v, readings.loaded_mean_v[..., None])
    rested = cells.curve.voltage(held, fit.x[:, None, None, n : n + lay.shapes])
    warm = cells.slower(readings.pack_k)[..., None]
    mean_a = np.where(np.isnan(readings.mean_a), fit.charge * readings.rated_ah[:, None] * 3600.0 / readings.run_s, readings.mean_a)
    slope = cells.curve.slope(held)
    c_rate = np.maximum(mean_a, 0.0)[..., None] * inverse[:, None, :] / readings.rated_ah[:, None, None]
    slow = known.relaxation[:, None, None] * np.minimum(cells.relaxation.deficit(0.0, c_rate, slope, warm), 0.5)
    drop = rested - slow - volts
    told = ~np.isnan(readings.loaded_a)[..., None]
    current = np.where(told, readings.loaded_a[..., None], BURST * np.maximum(mean_a, 0.0)[..., None])
    current_sd = np.where(told, CURRENT_RELATIVE_SD, BURST_SD / BURST)
    factor = cells.resistance_factor(held, readings.pack_k[..., None])
    charge_sd = fit.charge_sd[..., None] * inverse[:, None, :]
    drop_sd = np.sqrt(LOADED_SD_V**2 + np.square(slope * np.maximum(charge_sd, 0.01)) + np.square(SLOW_RELATIVE_SD * slow))
    # Of a pack's total only the mean of all cells is seen.
    drop, drop_sd, factor = (np.where(own, each, each.mean(axis=2, keepdims=True)) for each in (drop, drop_sd, factor))
    with np.errstate(invalid="ignore", divide="ignore"):
        usable = current > LEAST_C_RATE * readings.rated_ah[:, None, None]
        expected = np.where(usable, current * factor * known.resistance_ohm[:, None, :], np.nan)
        # A sag far smaller than expected, or none, says that the resistance is small, though not how small.
        over = np.maximum(drop, expected)
        value = np.log(known.resistance_ohm[:, None, :]) + np.log(over / expected) + np.minimum(drop / expected - 1.0, 0.0)
        relative = np.sqrt(np.square(drop_sd / over) + np.square(current_sd) + LEAST_SD**2)
    return value, np.where(own, relative, np.hypot(relative, TOTAL_CELL_SD))


def _relaxation(readings: Readings, fit: OutingFit, known: PackKnowledge) -> tuple[FloatArray, FloatArray]:
    """How much more or less the pack had still to recover when it was read than was expected."""
    lay = fit.layout
    place = lay.shared + 2 * np.arange(lay.runs) + 1
    error = fit.x[:, place]
    variance = np.minimum(np.diagonal(fit.covariance, axis1=1, axis2=2)[:, place], 0.999)
    told = 1.0 / variance - 1.0
    shift_v = fit.relaxed.shared_v * (error / variance) / np.maximum(told, 1e-9)
    other = np.square(fit.relaxed.shared_v) - np.square(fit.relaxed.doubt_v)
    sd_v = np.sqrt(np.square(fit.relaxed.shared_v) / np.maximum(told, 1e-9) + other)
    correction = fit.relaxed.deficit_v
    use = (correction > CORRECTED_V) & (told > 1e-3) & ~np.isnan(readings.rest_after_s)
    safe = np.where(use, correction, 1.0)
    found = known.relaxation[:, None] * (1.0 - shift_v / safe)
    precision = np.where(use, np.square(safe / np.maximum(known.relaxation[:, None] * sd_v, 1e-9)), 0.0)
    total = precision.mean(axis=1)
    return total, (precision * np.clip(found, 0.0, 4.0)).mean(axis=1)


def standing_sums(sums: FloatArray, outings: Sequence[Outing], readings: Readings, cells: CellFamily, deviation: FloatArray) -> FloatArray:
    """Sums for the line of charge lost against time standing, after these outings.

    Parameters
    ----------
    sums : FloatArray
        Before, shape (N, n, 5): weights of offset squared, offset and time, time squared, offset and gap, time and gap [1], [month]
    outings : Sequence[Outing]
        N of them [1]
    readings : Readings
        What was read [1]
    cells : CellFamily
        The chemistry made ready [1]
    deviation : FloatArray
        Coefficients of each pack's own curve, shape (N, K) [1]

    Returns
    -------
    FloatArray
        After, shape (N, n, 5) [1], [month]

    References
    ----------
    .. [1] JCGM 100:2008, H.3: a straight line by least squares.
    """
    n = sums.shape[1]
    if n < 2:
        return sums
    after = SUM_MEMORY * sums
    stood = readings.stood_months
    full = np.array([is_full(outing.before, outing.pack, cells) for outing in outings])
    full &= stood * MONTH_S >= LEAST_STAND_S / 4.0
    if full.any():
        # Near full the makes agree, while the pack's own curve has been bent to the very readings looked at here.
        _add(after, np.where(full[:, None], cells.curve.soc(readings.before_v[:, 0]), np.nan), 1.0, stood)
    runs = readings.since_months.shape[1]
    if runs > 1:
        before_soc, after_soc = (_own_soc(volts, cells, deviation) for volts in (readings.before_v, readings.after_v))
        for j in range(1, runs):
            waited = readings.since_months[:, j] - readings.since_months[:, j - 1] - readings.run_s[:, j - 1] / MONTH_S
            long = (waited * MONTH_S >= LEAST_STAND_S)[:, None]
            _add(after, np.where(long, before_soc[:, j] - after_soc[:, j - 1], np.nan), 0.0, waited)
    return after


def _own_soc(volts: FloatArray, cells: CellFamily, deviation: FloatArray) -> FloatArray:
    mean = cells.curve.soc(volts)
    return np.asarray(mean + np.sum(cells.curve.shape_values(np.nan_to_num(mean)) * deviation[:, None, None, :], axis=-1), dtype=np.float64)


def _add(sums: FloatArray, soc: FloatArray, offset: float, months: FloatArray) -> None:
    """Add one standing of each pack whose cells were all read, shape (N, n)."""
    middle = np.median(soc, axis=1, keepdims=True) if soc.shape[1] > 2 else soc.mean(axis=1, keepdims=True)
    gap = soc - middle
    told = np.abs(np.nan_to_num(gap, nan=1.0)).max(axis=1) <= SLIP_SOC
    weight = np.where(told, 1.0 / (BALANCE_SD_SOC**2 + np.square(0.05 * months * LOSS_SD_PER_MONTH)), 0.0)[:, None]
    gap, months = np.where(told[:, None], gap, 0.0), np.where(told, months, 0.0)[:, None]
    # A cell read wrongly once is none that loses by standing; one that does says so again the next time.
    always, rate, _ = _line(sums)
    expected = -(offset * always + months * rate)
    gap = expected + np.clip(gap - expected, -MOST_ODD * BALANCE_SD_SOC, MOST_ODD * BALANCE_SD_SOC)
    sums[..., 0] += weight * offset
    sums[..., 1] += weight * offset * months
    sums[..., 2] += weight * np.square(months)
    sums[..., 3] -= weight * offset * gap
    sums[..., 4] -= weight * months * gap


def excess_loss(sums: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Charge each cell loses by standing beyond its neighbours, from the sums so far.

    Parameters
    ----------
    sums : FloatArray
        Shape (..., n, 5), see `standing_sums` [1], [month]

    Returns
    -------
    value, sd : FloatArray
        Over capacity and a month, shape (..., n) [1 / month]

    Notes
    -----
    A line ``loss = offset + rate * months`` with normal priors about zero for both.

    References
    ----------
    .. [1] JCGM 100:2008, H.3: a straight line by least squares.
    """
    _, rate, sd = _line(sums)
    return rate, sd


def _line(sums: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Offset and rate of the line, and the standard uncertainty of the rate, shape (..., n) [1], [1 / month], [1 / month]."""
    a = sums[..., 0] + 1.0 / OFFSET_SD_SOC**2
    b = sums[..., 1]
    c = sums[..., 2] + 1.0 / LOSS_SD_PER_MONTH**2
    determinant = a * c - b * b
    offset = (c * sums[..., 3] - b * sums[..., 4]) / determinant
    return offset, (a * sums[..., 4] - b * sums[..., 3]) / determinant, np.sqrt(a / determinant)


def sure_loss(sums: FloatArray) -> FloatArray:
    """Excess loss by standing where it is clear, else none.

    Parameters
    ----------
    sums : FloatArray
        Of the line of charge lost against time standing, shape (..., n, 5) [1], [month]

    Returns
    -------
    FloatArray
        Shape (..., n) [1 / month]

    References
    ----------
    .. [1] No source: a threshold.
    """
    value, sd = excess_loss(sums)
    return np.where(np.abs(value) > SURE * sd, value, 0.0)
