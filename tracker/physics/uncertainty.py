"""Combining and propagating standard uncertainties, and intervals from them."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

FloatArray = NDArray[np.float64]

COVERAGE_FACTOR_90 = 1.6448536269514722
"""Half width of the central 90 % interval of a normal distribution, in standard uncertainties
(JCGM 100:2008, Table G.1: 1.645)."""


def combine(*standard_uncertainties: ArrayLike) -> FloatArray:
    """Combine standard uncertainties of independent contributions.

    Parameters
    ----------
    *standard_uncertainties : ArrayLike
        Contributions, each already multiplied by its sensitivity; any shapes that broadcast [unit of the result]

    Returns
    -------
    FloatArray
        Their root sum of squares [unit of the result]

    References
    ----------
    .. [1] JCGM 100:2008, Evaluation of measurement data: Guide to the expression of uncertainty in measurement,
       eq. (10) with uncorrelated inputs.
    """
    total: FloatArray = np.asarray(0.0)
    for contribution in standard_uncertainties:
        total = total + np.square(np.asarray(contribution, dtype=np.float64))
    return np.sqrt(total)


def from_limits(half_width: ArrayLike) -> FloatArray:
    """Standard uncertainty of a value known only to lie within plus or minus `half_width`.

    Parameters
    ----------
    half_width : ArrayLike
        Half the width between the limits, any shape [unit of the value]

    Returns
    -------
    FloatArray
        Standard uncertainty of the rectangular distribution [unit of the value]

    References
    ----------
    .. [1] JCGM 100:2008, clause 4.3.7, eq. (7).
    """
    return np.asarray(np.asarray(half_width, dtype=np.float64) / np.sqrt(3.0), dtype=np.float64)


def from_resolution(step: ArrayLike) -> FloatArray:
    """Standard uncertainty from a display that moves in steps.

    Parameters
    ----------
    step : ArrayLike
        Smallest change shown, any shape [unit of the value]

    Returns
    -------
    FloatArray
        Standard uncertainty, ``step / (2 sqrt(3))`` [unit of the value]

    References
    ----------
    .. [1] JCGM 100:2008, clause F.2.2.1.
    """
    return from_limits(np.asarray(step, dtype=np.float64) / 2.0)


@cache
def _hermite(points: int) -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.hermite_e.hermegauss(points)
    return np.asarray(nodes, dtype=np.float64), np.asarray(weights / weights.sum(), dtype=np.float64)


def normal_nodes(points: int = 5) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights that average a function over the standard normal distribution.

    Parameters
    ----------
    points : int
        Number of nodes; exact for polynomials up to degree ``2 points - 1`` [1]

    Returns
    -------
    nodes : FloatArray
        Shape (points,), in standard deviations from the mean [1]
    weights : FloatArray
        Shape (points,), summing to 1 [1]

    References
    ----------
    .. [1] M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 1964, 25.4.46.
    """
    return _hermite(points)


def probability_below(limit: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> FloatArray:
    """Probability that a normally distributed value lies below a limit.

    Parameters
    ----------
    limit, mean : ArrayLike
        The limit and the expected value, shapes that broadcast [same unit]
    sd : ArrayLike
        Standard uncertainty; 0 gives 0, 0.5 or 1 [same unit]

    Returns
    -------
    FloatArray
        Probability, 0…1 [1]

    References
    ----------
    .. [1] M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 1964, 26.2.2.
    """
    gap = np.asarray(limit, dtype=np.float64) - np.asarray(mean, dtype=np.float64)
    spread = np.broadcast_to(np.asarray(sd, dtype=np.float64), gap.shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        scaled = np.where(spread > 0, gap / spread, np.sign(gap) * np.inf)
    return np.asarray(ndtr(np.where(np.isnan(scaled), 0.0, scaled)), dtype=np.float64)
