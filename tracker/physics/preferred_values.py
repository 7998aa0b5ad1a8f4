"""Preferred values of resistors: the numbers in which parts are sold, series by series."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_TWO_DIGITS = {
    "E6": (10, 15, 22, 33, 47, 68),
    "E12": (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82),
    "E24": (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91),
}
"""Printed values: they do not follow the rule of the finer series (IEC 60063)."""

_THREE_DIGITS = {"E48": 48, "E96": 96, "E192": 192}

_RULE_FAILS = {("E192", 919): 920}
"""The one value of the finer series that the rule misses."""

SERIES = (*_TWO_DIGITS, *_THREE_DIGITS)
"""From coarse to fine."""

SMALLEST_OHM, LARGEST_OHM = 0.1, 22e6
"""Between these single resistors are easy to come by. From memory."""


def decade(series: str) -> tuple[int, ...]:
    """Values of one decade of a series, as whole numbers of two or three digits.

    Parameters
    ----------
    series : str
        One of `SERIES`

    Returns
    -------
    tuple of int
        Rising, from 10 up to below 100 for series up to E24, from 100 up to below 1000 for finer ones [1]

    Notes
    -----
    ``round(100 * 10**(n / N))`` for n = 0 … N - 1 of series E48, E96 and E192, but for 919, which is 920.

    References
    ----------
    .. [1] IEC 60063, Preferred number series for resistors and capacitors.
    """
    if series in _TWO_DIGITS:
        return _TWO_DIGITS[series]
    count = _THREE_DIGITS[series]
    ruled = (round(100.0 * 10.0 ** (place / count)) for place in range(count))
    return tuple(_RULE_FAILS.get((series, value), value) for value in ruled)


def preferred_values(series: str, low_ohm: float = SMALLEST_OHM, high_ohm: float = LARGEST_OHM) -> FloatArray:
    """Every value of a series between two limits.

    Parameters
    ----------
    series : str
        One of `SERIES`
    low_ohm, high_ohm : float
        The limits, themselves included [ohm]

    Returns
    -------
    FloatArray
        Rising, shape (n,) [ohm]

    References
    ----------
    .. [1] As in `decade`.
    """
    digits = decade(series)
    first = int(np.floor(np.log10(low_ohm))) - len(str(digits[0]))
    last = int(np.ceil(np.log10(high_ohm)))
    values = np.array([float(f"{value}e{power}") for power in range(first, last + 1) for value in digits])
    return values[(values >= low_ohm) & (values <= high_ohm)]


def nearest_preferred(ideal_ohm: float, series: str, each_side: int = 3) -> FloatArray:
    """Values of a series on either side of an ideal one.

    Parameters
    ----------
    ideal_ohm : float
        What is wanted, between `SMALLEST_OHM` and `LARGEST_OHM` [ohm]
    series : str
        One of `SERIES`
    each_side : int
        How many values below it, and how many from it up [1]

    Returns
    -------
    FloatArray
        Rising; fewer at the ends of what parts there are [ohm]

    References
    ----------
    .. [1] As in `decade`.
    """
    values = preferred_values(series)
    # An ideal value that is itself preferred but for the last bits of its computation counts as that value.
    place = int(np.searchsorted(values, ideal_ohm * (1.0 - 1e-9)))
    return values[max(place - each_side, 0) : place + each_side]
