"""What is known of a pack before a run is looked at: capacities, resistances, its own voltage curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.domain.pack import Pack
from tracker.estimators.cell_family import CellFamily, family

FloatArray = NDArray[np.float64]

CAPACITY_COMMON_SD = 0.10
"""Relative spread of the true capacity of packs about which only the label is known: labels flatter and packs age.
From memory; the learning history replaces it after a few counted charges."""
CAPACITY_MEAN_OF_RATED = 0.98
"""What a used pack holds of its label on average. From memory."""
CAPACITY_CELL_SD = 0.05
"""Relative spread between the cells of one pack. From memory: makers sort cells to within a few percent."""
RESISTANCE_RELATIVE_SD = 0.5
"""Relative spread of resistance between packs of one chemistry and capacity, where the chemistry gives none. From memory."""


RELAXATION_MEAN = 1.0
RELAXATION_SD = 0.6
"""How well the relaxation after load is known before a pack has shown its own, over its size."""


@dataclass(frozen=True, slots=True, eq=False)
class PackKnowledge:
    """What is known of a pack, or of several at once: then every shape has one more axis in front.

    Attributes
    ----------
    log_capacity : FloatArray
        Expected natural logarithm of each cell's capacity over the rated one, shape (n,) [1]
    deviation : FloatArray
        Expected coefficients of the pack's own curve, shape (K,) [1]
    covariance : FloatArray
        Of `log_capacity` and `deviation` together, shape (n + K, n + K) [1]
    resistance_ohm : FloatArray
        Of each cell at 25 °C and half charge, shape (n,) [ohm]
    resistance_relative_sd : FloatArray
        Relative standard uncertainty of it, shape (n,) [1]
    relaxation, relaxation_sd : FloatArray
        Relaxation after load over what is typical of the chemistry, shape () [1]
    excess_loss : FloatArray
        Charge each cell loses by standing beyond its neighbours, over capacity and a month, shape (n,) [1 / month]
    """

    log_capacity: FloatArray
    deviation: FloatArray
    covariance: FloatArray
    resistance_ohm: FloatArray
    resistance_relative_sd: FloatArray
    relaxation: FloatArray
    relaxation_sd: FloatArray
    excess_loss: FloatArray


def typical(pack: Pack, cells: CellFamily | None = None) -> PackKnowledge:
    """What is known of a pack from its label and chemistry alone.

    Parameters
    ----------
    pack : Pack
        The pack [1]
    cells : CellFamily, optional
        Its chemistry made ready [1]

    Returns
    -------
    PackKnowledge
        Typical values with the spread between packs [1]

    References
    ----------
    .. [1] The chemistry file; the spreads above are from memory.
    """
    known = cells if cells is not None else family(pack.chemistry)
    n, shapes = pack.series, known.curve.shape_count
    covariance = np.zeros((n + shapes, n + shapes))
    covariance[:n, :n] = CAPACITY_COMMON_SD**2 + CAPACITY_CELL_SD**2 * np.eye(n)
    covariance[n:, n:] = np.eye(shapes)
    per_ah = known.chemistry["resistance_capacity"]
    relative_sd = known.sd_of("resistance_capacity", RESISTANCE_RELATIVE_SD * per_ah) / per_ah
    return PackKnowledge(
        log_capacity=np.full(n, np.log(CAPACITY_MEAN_OF_RATED)),
        deviation=np.zeros(shapes),
        covariance=covariance,
        resistance_ohm=np.full(n, per_ah / pack.capacity_ah),
        resistance_relative_sd=np.full(n, relative_sd),
        relaxation=np.array(RELAXATION_MEAN),
        relaxation_sd=np.array(RELAXATION_SD),
        excess_loss=np.zeros(n),
    )
