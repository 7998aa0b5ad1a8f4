"""Many equally likely versions of one pack, of what is known of it: cells, curve, resistance, charge."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from tracker.domain.pack import Pack
from tracker.estimators import pack_state as ps
from tracker.estimators.cell_family import RELAXATION_ENERGY_J_MOL, CellFamily
from tracker.physics.cell_circuit import CellKind, cell_tables
from tracker.physics.load_voltage import arrhenius_factor
from tracker.physics.pack_draws import PackDraws

FloatArray = NDArray[np.float64]

FULL_SD_SOC = 0.006
CELL_FULL_SD_SOC = 0.006
"""How far below full a charge leaves a pack, and each cell besides. From memory."""
COLD_SD = 0.12
"""Part of the exponent of the Arrhenius law by which cold may raise resistance more or less than the chemistry says:
pulses of a pouch cell sagged 16 to 28 % more between 9 and -10 °C (Kollmeyer, P.; Skells, M. (2020), Mendeley Data,
doi:10.17632/4fx8cjprxm.1, derived)."""
COLD_MEAN = 1.15
MATCHED_SD = 0.02
"""Makers put cells together that are alike to within a few percent. From memory."""
LEAST_RELAXATION = 0.1
"""Of what is typical of its chemistry, a cell recovers at least so much after load. From memory."""
POINTS = 441
"""Of each version's voltage curve."""
ROWS_AT_ONCE = 128
"""Curves read at once: as many as stay in the processor's own memory, in a third of the time of all."""


def normal_draws(count: int, width: int, seed: int) -> FloatArray:
    """Evenly spread normal numbers, draws of other seeds and columns independent of each other.

    Parameters
    ----------
    count : int
        How many [1]
    width : int
        Numbers in each [1]
    seed : int
        Another one gives other, equally good ones [1]

    Returns
    -------
    FloatArray
        Shape (count, width) [1]

    Notes
    -----
    A Latin hypercube: in each column every one of `count` equally likely strata comes once, in an order of its own.

    References
    ----------
    .. [1] M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21 (1979) 239-245, doi 10.1080/00401706.1979.10489755.
    """
    rng = np.random.default_rng(seed)
    strata = rng.permuted(np.tile(np.arange(count), (width, 1)), axis=1).T
    points = (strata + rng.random((count, width))) / count
    return np.asarray(ndtri(np.clip(points, 1e-9, 1.0 - 1e-9)), dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Versions:
    """Many versions of a pack, whatever its temperature will be.

    Attributes
    ----------
    usual : PackDraws
        At the temperature resistances are told for
    cold_exponent : FloatArray
        How much more than the chemistry says cold raises resistance, as the exponent of the usual factor, shape (draws,) [1]
    energy_j_mol : float
        Of the resistance's Arrhenius law [J/mol]
    """

    usual: PackDraws
    cold_exponent: FloatArray
    energy_j_mol: float

    @property
    def draws(self) -> int:
        """How many versions."""
        return self.usual.draws

    def at(self, pack_k: float) -> PackDraws:
        """The same versions at a temperature.

        Parameters
        ----------
        pack_k : float
            At the start [K]

        Returns
        -------
        PackDraws
            Versions, all equally likely [1]

        References
        ----------
        .. [1] COLD_SD and COLD_MEAN.
        """
        colder = max(1.0, float(arrhenius_factor(pack_k, self.energy_j_mol)))
        return replace(self.usual, r0_ohm=self.usual.r0_ohm * np.power(colder, self.cold_exponent)[:, None], temperature_k=pack_k)


def drawn_versions(
    pack: Pack, states: ps.PackStates, cells: CellFamily, *, count: int, lead_ohm: float, seed: int
) -> Versions:  # fmt: skip
    """Versions of a pack, charged full and about to be run.

    Parameters
    ----------
    pack : Pack
        The pack [1]
    states : PackStates
        What is known of it, of one pack [1]
    cells : CellFamily
        Its chemistry made ready [1]
    count : int
        How many versions [1]
    lead_ohm : float
        Leads and connectors, out and back [ohm]
    seed : int
        Of the draw [1]

    Returns
    -------
    Versions
        All equally likely [1]

    References
    ----------
    .. [1] JCGM 101:2008, propagation of distributions by a Monte Carlo method.
    """
    n, shapes = pack.series, cells.curve.shape_count
    normal = normal_draws(count, n + shapes + n + 2 + n + 1, seed)
    mean, covariance = states.belief.mean[0, : n + shapes], states.belief.covariance[0, : n + shapes, : n + shapes]
    root = np.linalg.cholesky(covariance + 1e-12 * np.eye(n + shapes))
    off = normal[:, : n + shapes] @ root.T
    off[:, :n] = _matched(off[:, :n], covariance[:n, :n])
    drawn = mean + off
    at = n + shapes
    spread = np.sqrt(states.trait_variance[0, :n])
    capacity_ah = pack.capacity_ah * np.exp(np.clip(drawn[:, :n], -2.0, 0.7))
    below = FULL_SD_SOC * np.abs(normal[:, at + n + 1])[:, None] + CELL_FULL_SD_SOC * np.abs(normal[:, at + n + 2 : at + 2 * n + 2])
    relaxation = np.maximum(states.trait_mean[0, n] + np.sqrt(states.trait_variance[0, n]) * normal[:, -1], LEAST_RELAXATION)
    kind, pair_ohm = _circuit(cells, drawn[:, n:], capacity_ah, relaxation[:, None])
    usual = PackDraws(
        kind=kind,
        capacity_ah=capacity_ah,
        r0_ohm=np.exp(states.trait_mean[0, :n] + spread * normal[:, at : at + n]),
        pair_ohm=pair_ohm,
        soc=1.0 - below,
        lead_ohm=lead_ohm,
    )
    return Versions(usual, COLD_MEAN - 1.0 + COLD_SD * normal[:, at + n], cells.chemistry["resistance_energy"])


def _matched(off: FloatArray, covariance: FloatArray) -> FloatArray:
    """Cells as far from their mean as makers let them be, where the pack's history has not told how far they are."""
    n = off.shape[1]
    apart = np.eye(n) - 1.0 / n
    sd = np.sqrt(np.maximum(np.diagonal(apart @ covariance @ apart), 1e-12))
    common = off.mean(axis=1, keepdims=True)
    return np.asarray(common + (off - common) * np.minimum(1.0, MATCHED_SD / sd), dtype=np.float64)


def _circuit(cells: CellFamily, deviation: FloatArray, capacity_ah: FloatArray, relaxation: FloatArray) -> tuple[CellKind, FloatArray]:
    """The circuit of a chemistry, with a voltage curve a version, and the resistances of its two pairs."""
    facts, slow = cells.chemistry, cells.relaxation

    def curves(soc: FloatArray) -> FloatArray:
        shapes = cells.curve.shape_values(cells.curve.mean_soc).T
        read = np.empty((len(deviation), len(soc)))
        for start in range(0, len(deviation), ROWS_AT_ONCE):
            own = cells.curve.mean_soc + deviation[start : start + ROWS_AT_ONCE] @ shapes
            rising = np.maximum.accumulate(own + 1e-9 * np.arange(own.shape[1]), axis=1)
            read[start : start + ROWS_AT_ONCE] = _read_each(soc, rising, cells.curve.voltage_v)
        return read

    def resistance(soc: FloatArray) -> FloatArray:
        table = facts.resistance_soc
        return np.interp(soc, table.soc, table.factor)

    def swing(soc: FloatArray) -> FloatArray:
        return slow.volts_per_c + slow.soc_per_c * cells.curve.slope(np.clip(soc, 0.05, 1.0))

    middle = float(swing(np.array([0.5]))[0])
    tables = cell_tables(curves, resistance, [lambda soc: swing(soc) / middle] * 2, points=POINTS)
    energy = max(RELAXATION_ENERGY_J_MOL[facts.family], facts["resistance_energy"])
    kind = CellKind(tables, (slow.fast_s, slow.slow_s), facts["resistance_energy"], (energy, energy), (0.0, 0.0))
    shares = np.array([slow.fast_share, 1.0 - slow.fast_share])[:, None, None]
    return kind, shares * relaxation * middle / capacity_ah


def _read_each(at: FloatArray, rising: FloatArray, values: FloatArray) -> FloatArray:
    """Values at the same places on many rows of rising places, straight between and even beyond the ends; shape (rows, places)."""
    apart = 4.0 * np.arange(len(rising))[:, None]  # all rows one behind the other, for one look-up instead of thousands
    inside = np.clip(at, rising[:, :1], rising[:, -1:])
    return np.interp((inside + apart).ravel(), (rising + apart).ravel(), np.tile(values, len(rising))).reshape(inside.shape)
