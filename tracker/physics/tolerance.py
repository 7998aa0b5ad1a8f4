"""What the limits of its inputs make of a result: worst case, root sum of squares, and drawing at random."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
Formula = Callable[..., FloatArray]
"""From as many arrays as there are inputs to one of the same shape."""

DRAWS = 200_000
"""Ten thousand over the share of results outside a 95 % interval (JCGM 101:2008, clause 7.2.2)."""


def worst_case(formula: Formula, values: Sequence[float], half_widths: Sequence[float]) -> tuple[float, float]:
    """Lowest and highest result with every input at one of its limits.

    Parameters
    ----------
    formula : Callable
        Must rise or fall with each input all the way between its limits, or the extremes may lie between them
    values : sequence of float
        The inputs as they are meant to be [any units]
    half_widths : sequence of float
        How far each may be off, either way [same units]

    Returns
    -------
    low, high : float
        The extremes [unit of the result]

    References
    ----------
    .. [1] A function that is monotone in each variable takes its extremes over a box at the box's corners.
    """
    corners = np.array(list(product(*((value - half, value + half) for value, half in zip(values, half_widths, strict=True)))))
    results = formula(*corners.T)
    return float(np.min(results)), float(np.max(results))


def root_sum_square(sensitivity: ArrayLike, half_width: ArrayLike) -> float:
    """Half width of a result whose inputs are off independently of each other.

    Parameters
    ----------
    sensitivity : ArrayLike
        Of the result to each input, shape (n,) [unit of the result over that of the input]
    half_width : ArrayLike
        How far each input may be off, shape (n,); standard uncertainties give a standard uncertainty [units of the inputs]

    Returns
    -------
    float
        Root of the sum of squares [unit of the result]

    References
    ----------
    .. [1] JCGM 100:2008, eq. (10).
    """
    return float(np.sqrt(np.sum(np.square(np.asarray(sensitivity, dtype=np.float64) * np.asarray(half_width, dtype=np.float64)))))


def drawn_interval(
    formula: Formula,
    values: Sequence[float],
    half_widths: Sequence[float],
    rng: np.random.Generator,
    coverage: float = 0.95,
    draws: int = DRAWS,
) -> tuple[float, float]:
    """Interval that holds so much of a result whose inputs lie anywhere between their limits, each as likely as the other.

    Parameters
    ----------
    formula : Callable
        From as many arrays as there are inputs to one of the same shape
    values : sequence of float
        The inputs as they are meant to be [any units]
    half_widths : sequence of float
        How far each may be off, either way [same units]
    rng : numpy.random.Generator
        Where the draws come from
    coverage : float
        Share of the results between the limits [1]
    draws : int
        How many [1]

    Returns
    -------
    low, high : float
        With as many results below as above [unit of the result]

    References
    ----------
    .. [1] JCGM 101:2008, clauses 6.4.2 (rectangular distribution), 7.2 to 7.4, and 7.7.2 (symmetric in probability).
    """
    inputs = (value + half * rng.uniform(-1.0, 1.0, draws) for value, half in zip(values, half_widths, strict=True))
    low, high = np.quantile(formula(*inputs), ((1.0 - coverage) / 2.0, (1.0 + coverage) / 2.0))
    return float(low), float(high)
