"""How low each cell went under load, how likely it was harmed, and the grade in a word."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.domain.conventions import DAMAGING_PROBABILITY, DEEP_PROBABILITY
from tracker.estimators.cell_family import CellFamily
from tracker.estimators.knowledge import PackKnowledge
from tracker.estimators.outing_fit import OutingFit
from tracker.estimators.readings import Readings
from tracker.estimators.run_charge import CELL_READING_SD_V
from tracker.estimators.traits import BURST, BURST_SD
from tracker.physics.uncertainty import normal_nodes, probability_below

FloatArray = NDArray[np.float64]

LOADED_READING_SD_V = 0.03
"""A lowest voltage remembered by a meter or alarm in the model. From memory."""
TRIP_SD_V = 0.05
"""How far a cell's voltage at the trip lies from the setting: delay, burst, leads; a cell. From memory."""
DEEP_SOC, LOW_SOC = 0.5, 0.5
"""Probabilities of having less than half the reserve, or the reserve, at which a grade is given."""
ALIKE = 0.85
"""How alike the errors of the modelled voltages of a pack's cells are: current, resistance and state are mostly shared. From memory."""
FITS = 0.4
"""Robust weight above which a rested voltage is taken for what it says, as for a reading that is not set aside."""
CURVE_SOC_SD_FLOOR = 0.004


@dataclass(frozen=True, slots=True, eq=False)
class Depths:
    """Of N outings of m runs on n cells.

    Attributes
    ----------
    soc_before, soc_before_sd, soc_after, soc_after_sd : FloatArray
        Shape (N, m, n) [1]
    lowest_v, lowest_sd_v : FloatArray
        Lowest voltage under load, shape (N, m, n) [V]
    below_floor, below_reserve, below_half_reserve : FloatArray
        Probabilities, shape (N, m, n) [1]
    """

    soc_before: FloatArray
    soc_before_sd: FloatArray
    soc_after: FloatArray
    soc_after_sd: FloatArray
    lowest_v: FloatArray
    lowest_sd_v: FloatArray
    below_floor: FloatArray
    below_reserve: FloatArray
    below_half_reserve: FloatArray


def depths_of(readings: Readings, fit: OutingFit, cells: CellFamily, known: PackKnowledge) -> Depths:
    """State of charge before and after, lowest loaded voltage and probabilities, cell by cell.

    Parameters
    ----------
    readings : Readings
        What was read [1]
    fit : OutingFit
        The answer [1]
    cells : CellFamily
        The chemistry made ready [1]
    known : PackKnowledge
        What was known of each pack [1]

    Returns
    -------
    Depths
        Cell by cell [1], [V]

    Notes
    -----
    Loaded voltage at the end: rested voltage less current times resistance less what would relax away after the run.
    The state of charge is averaged over with Gauss-Hermite nodes, since the curve bends sharply near empty.

    References
    ----------
    .. [1] G. L. Plett, Battery Management Systems, Vol. I, Artech House 2015, chapter 2: equivalent circuit.
    """
    before, before_sd = _states(fit, 0)
    after, after_sd = _states(fit, 1)
    lowest, lowest_sd, floor = _lowest(readings, fit, cells, known, after, after_sd)
    reserve = cells.chemistry["reserve_soc"]
    return Depths(
        soc_before=before,
        soc_before_sd=before_sd,
        soc_after=after,
        soc_after_sd=after_sd,
        lowest_v=lowest,
        lowest_sd_v=lowest_sd,
        below_floor=floor,
        below_reserve=probability_below(reserve, after, after_sd),
        below_half_reserve=probability_below(reserve / 2.0, after, after_sd),
    )


def grade_of(below_floor: float, below_reserve: float, below_half_reserve: float) -> str:
    """Grade a cell's depth.

    Parameters
    ----------
    below_floor : float
        Probability that the loaded voltage went below the floor [1]
    below_reserve, below_half_reserve : float
        Probabilities that less than the reserve, or half of it, was left [1]

    Returns
    -------
    str
        damaging, deep, low or fine [1]

    References
    ----------
    .. [1] The project's own definition; no source.
    """
    if below_floor >= DAMAGING_PROBABILITY:
        return "damaging"
    if below_floor >= DEEP_PROBABILITY or below_half_reserve >= DEEP_SOC:
        return "deep"
    return "low" if below_reserve >= LOW_SOC else "fine"


def _states(fit: OutingFit, boundary: int) -> tuple[FloatArray, FloatArray]:
    """State of charge of each cell before (0) or after (1) each run, with its standard uncertainty."""
    lay = fit.layout
    n, runs = lay.cells, lay.runs
    count = len(fit.x)
    charge = fit.charge
    inverse = np.exp(-fit.x[:, :n]) * _expected_inverse(fit)
    state = np.empty((count, runs, n))
    spread = np.empty((count, runs, n))
    for j in range(runs):
        until = j + boundary
        drawn = charge[:, :until].sum(axis=1)
        for i in range(n):
            gradient = np.zeros((count, lay.size))
            gradient[:, i] = drawn * inverse[:, i]
            gradient[:, lay.start + i] = 1.0
            gradient[:, lay.charge : lay.charge + until] = -inverse[:, i, None]
            state[:, j, i] = fit.x[:, lay.start + i] - drawn * inverse[:, i] - fit.lost[:, j, i]
            spread[:, j, i] = np.sqrt(np.einsum("np,npq,nq->n", gradient, fit.covariance, gradient))
    return state, np.maximum(spread, CURVE_SOC_SD_FLOOR)


def _expected_inverse(fit: OutingFit) -> FloatArray:
    return np.exp(-fit.expected_log_capacity)


def _lowest(
    readings: Readings, fit: OutingFit, cells: CellFamily, known: PackKnowledge, after: FloatArray, after_sd: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    lay, n = fit.layout, fit.layout.cells
    deviation = fit.x[:, None, None, n : n + lay.shapes]
    mean_a = np.where(
        np.isnan(readings.mean_a), fit.charge * readings.rated_ah[:, None] * 3600.0 / np.maximum(readings.run_s, 30.0), readings.mean_a
    )
    mean_a = np.maximum(mean_a, 0.0)
    told = ~np.isnan(readings.loaded_a)
    peak_a = np.where(told, readings.loaded_a, BURST * mean_a)
    peak_sd_a = np.where(told, 0.1 * peak_a, BURST_SD * mean_a)
    ohm = known.resistance_ohm[:, None, :]
    relative = known.resistance_relative_sd[:, None, :]
    relaxation = known.relaxation[:, None, None]
    capacity = readings.rated_ah[:, None, None] * np.exp(fit.x[:, None, :n] + fit.expected_log_capacity[:, None, :])
    c_rate = mean_a[..., None] / capacity
    warm = cells.slower(readings.pack_k)[..., None]
    rested_v, rested_sd_v, was_read = _rested(fit, cells)
    nodes, weights = normal_nodes(5)
    mean = np.zeros_like(after)
    square = np.zeros_like(after)
    models: list[tuple[FloatArray, FloatArray]] = []
    for node, share in zip(nodes, weights, strict=True):
        soc = after + node * after_sd
        held = np.clip(soc, 0.0, 1.0)
        factor = cells.resistance_factor(held, readings.pack_k[..., None])
        drop = peak_a[..., None] * ohm * factor
        slow = np.minimum(relaxation * cells.relaxation.deficit(0.0, c_rate, cells.curve.slope(held), warm), 0.8)
        rested = np.where(was_read, rested_v + node * rested_sd_v, cells.curve.voltage(soc, deviation))
        volts = np.maximum(rested - drop - slow, 0.0)
        sd = np.sqrt(np.square(drop * relative) + np.square(peak_sd_a[..., None] * ohm * factor) + np.square(0.5 * slow) + 0.01**2)
        models.append((volts, sd))
        mean += share * volts
        square += share * (np.square(volts) + np.square(sd))
    sd = np.sqrt(np.maximum(square - np.square(mean), 1e-6))
    floor_v = cells.chemistry["floor_v"]
    floor = sum((share * probability_below(floor_v, *model) for share, model in zip(weights, models, strict=True)), np.zeros_like(mean))
    mean, sd, changed = _with_readings(readings, mean, sd)
    return mean, sd, np.where(changed, probability_below(floor_v, mean, sd), floor)


def _rested(fit: OutingFit, cells: CellFamily) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Rested voltage of each cell after each run as it was read, its uncertainty, and where it was read and fits.

    What was read needs no curve: near empty, where a percent of charge is a tenth of a volt, it says far more than the charge.
    """
    soc = fit.read_soc["after"]
    was_read = np.isfinite(fit.scaled["after"]) & (fit.weight["after"] > FITS)
    volts = cells.curve.voltage(np.where(was_read, soc, 0.5))
    sd = np.hypot(fit.relaxed.shared_v[..., None], CELL_READING_SD_V)
    return volts, np.broadcast_to(sd, volts.shape), was_read


def _with_readings(readings: Readings, mean: FloatArray, sd: FloatArray) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Bring in what was read under load: a cell's own lowest voltage, the pack's, or the trip that ended the run."""
    n = mean.shape[2]
    own = ~np.isnan(readings.loaded_v)
    total_v = np.where(np.isnan(readings.loaded_mean_v), readings.cutoff_v, readings.loaded_mean_v)
    total_sd = np.where(np.isnan(readings.loaded_mean_v), TRIP_SD_V, LOADED_READING_SD_V)
    known_total = ~np.isnan(total_v) & ~own.any(axis=2)
    # The pack's voltage is the cells' sum: the surprise goes to each cell by its covariance with the mean of all.
    variance = np.square(sd)
    surprise = np.where(known_total, np.nan_to_num(total_v) - mean.mean(axis=2), 0.0)
    with_mean = sd * (ALIKE * sd.mean(axis=2, keepdims=True) + (1.0 - ALIKE) * sd / n)
    scale = with_mean.mean(axis=2) + np.square(total_sd)
    gain = with_mean / scale[..., None]
    mean = mean + np.where(known_total[..., None], gain * surprise[..., None], 0.0)
    variance = np.where(known_total[..., None], np.maximum(variance - gain * with_mean, 1e-6), variance)
    mean = np.where(own, readings.loaded_v, mean)
    variance = np.where(own, LOADED_READING_SD_V**2, variance)
    return mean, np.sqrt(variance), own | known_total[..., None]
