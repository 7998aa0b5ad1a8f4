"""Capacity from changes of charge and the ampere-hours that went with them, when both are read with errors.

A charge of ``y`` ampere-hours changes the state of charge of a cell of capacity ``Q`` by ``x``: ``y = Q x``. Four ways
to find ``Q`` from several such pairs, from the plainest to the one that can be carried on pair by pair.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.polynomial.polynomial import polyval
from numpy.typing import ArrayLike, NDArray

from tracker.errors import InputError

FloatArray = NDArray[np.float64]

_GRID = 301
_AT_ONCE = 1_000_000
"""Costs of single pairs computed at a time: bounds the memory of a long history."""
_ROUNDS = 200
_WIDEST = 1e6
"""How far beyond the pairs' own quotients a capacity is looked for."""


@dataclass(frozen=True, slots=True)
class CapacityFit:
    """A capacity and its standard uncertainty."""

    capacity_ah: float
    sd_ah: float


def weighted_least_squares(change: ArrayLike, charge_ah: ArrayLike, charge_sd_ah: ArrayLike) -> CapacityFit:
    """Capacity when only the ampere-hours are taken to be in error.

    Parameters
    ----------
    change : ArrayLike
        Change of the state of charge, shape (n,) [1]
    charge_ah : ArrayLike
        Charge that passed, of the same sign, shape (n,) [Ah]
    charge_sd_ah : ArrayLike
        Its standard uncertainty, shape (n,) or one number [Ah]

    Returns
    -------
    CapacityFit
        Capacity with its standard uncertainty [Ah]

    Notes
    -----
    ``Q = sum(x y / s_y^2) / sum(x^2 / s_y^2)``. Errors of `change` make it too small, and its uncertainty far too small.

    References
    ----------
    .. [1] G. L. Plett, J. Power Sources 196 (2011) 2319-2331, doi 10.1016/j.jpowsour.2010.09.048.
    """
    x, y = _columns(("changes of charge", change), ("amp-hours", charge_ah))
    y_sd = _spread(charge_sd_ah, len(x), "amp-hours")
    squares, product, _ = _sums(x, y, y_sd)
    return CapacityFit(capacity_ah=_positive(product) / squares, sd_ah=1.0 / sqrt(squares))


def proportional_total_least_squares(change: ArrayLike, charge_ah: ArrayLike, charge_sd_ah: ArrayLike, ratio: float) -> CapacityFit:
    """Capacity when the errors of both are in the same proportion in every pair.

    Parameters
    ----------
    change : ArrayLike
        Change of the state of charge, shape (n,) [1]
    charge_ah : ArrayLike
        Charge that passed, of the same sign, shape (n,) [Ah]
    charge_sd_ah : ArrayLike
        Its standard uncertainty, shape (n,) or one number [Ah]
    ratio : float
        Standard uncertainty of `change` over that of `charge_ah` [1/Ah]

    Returns
    -------
    CapacityFit
        Capacity with its standard uncertainty [Ah]

    Notes
    -----
    Least value of ``J = sum((y - Q x)^2 / s_y^2) / (1 + K^2 Q^2)`` in closed form; the variance is ``2 / J''``.

    References
    ----------
    .. [1] G. L. Plett, J. Power Sources 196 (2011) 2319-2331, doi 10.1016/j.jpowsour.2010.09.048.
    """
    x, y = _columns(("changes of charge", change), ("amp-hours", charge_ah))
    y_sd = _spread(charge_sd_ah, len(x), "amp-hours")
    k = _ratio(ratio)
    squares, product, charges = _sums(x, y, y_sd)
    lead = squares - k**2 * charges
    root = sqrt(lead**2 + 4.0 * k**2 * _positive(product) ** 2)
    # The usual form of the root loses all digits where K is small; this one is the same number without the difference.
    capacity = 2.0 * product / (lead + root) if lead > 0 else (root - lead) / (2.0 * k**2 * product)
    stretch = 1.0 + k**2 * capacity**2
    cost = max(charges - 2.0 * product * capacity + squares * capacity**2, 0.0) / stretch
    return CapacityFit(capacity_ah=capacity, sd_ah=_sd(2.0 * (squares - k**2 * cost) / stretch))


def total_least_squares(change: ArrayLike, charge_ah: ArrayLike, change_sd: ArrayLike, charge_sd_ah: ArrayLike) -> CapacityFit:
    """Capacity when every pair has errors of its own in both; exact, needs all pairs at once.

    Parameters
    ----------
    change : ArrayLike
        Change of the state of charge, shape (n,) [1]
    charge_ah : ArrayLike
        Charge that passed, of the same sign, shape (n,) [Ah]
    change_sd : ArrayLike
        Standard uncertainty of `change`, shape (n,) or one number [1]
    charge_sd_ah : ArrayLike
        Standard uncertainty of `charge_ah`, shape (n,) or one number [Ah]

    Returns
    -------
    CapacityFit
        Capacity with its standard uncertainty [Ah]

    Notes
    -----
    Least value of ``J = sum((y - Q x)^2 / (Q^2 s_x^2 + s_y^2))``, by a search over all plausible capacities and
    Newton's method kept between two bounds; the variance is ``2 / J''``.

    References
    ----------
    .. [1] G. L. Plett, J. Power Sources 196 (2011) 2319-2331, doi 10.1016/j.jpowsour.2010.09.048.
    """
    x, y = _columns(("changes of charge", change), ("amp-hours", charge_ah))
    x_sd, y_sd = _spread(change_sd, len(x), "changes of charge"), _spread(charge_sd_ah, len(x), "amp-hours")
    low, high = _bracket(x, y, x_sd, y_sd)
    capacity = 0.5 * (low + high)
    for _ in range(_ROUNDS):
        slope, curvature = _cost_slopes(capacity, x, y, x_sd, y_sd)
        low, high = (low, capacity) if slope > 0 else (capacity, high)
        better = capacity - slope / curvature if curvature > 0 else low
        if not low < better < high:
            better = 0.5 * (low + high)
        if abs(better - capacity) <= 1e-15 * capacity:
            break
        capacity = better
    return CapacityFit(capacity_ah=capacity, sd_ah=_sd(_cost_slopes(capacity, x, y, x_sd, y_sd)[1]))


@dataclass(frozen=True, slots=True)
class CapacitySums:
    """All that must be kept of the pairs so far to carry the approximate fit on.

    Attributes
    ----------
    ratio : float
        Typical standard uncertainty of a change of charge over that of its ampere-hours; it only scales [1/Ah]
    sums : tuple[float, ...]
        The six sums C1…C6 of the paper [1]
    """

    ratio: float
    sums: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)

    @classmethod
    def started(cls, ratio: float, start: CapacityFit | None = None) -> CapacitySums:
        """Sums before the first pair.

        Parameters
        ----------
        ratio : float
            Typical standard uncertainty of a change of charge over that of its ampere-hours [1/Ah]
        start : CapacityFit, optional
            What is known beforehand, as the label tells it [Ah]

        Returns
        -------
        CapacitySums
            Empty, or with one made-up full charge that by itself gives back `start` and its uncertainty [1]

        References
        ----------
        .. [1] G. L. Plett, J. Power Sources 196 (2011) 2319-2331, doi 10.1016/j.jpowsour.2010.09.048: a pair of
           change 1 and the rated charge. How its error is shared between the two is chosen here.
        """
        empty = cls(_ratio(ratio))
        if start is None:
            return empty
        if not (np.isfinite(start.capacity_ah) and start.capacity_ah > 0):
            raise InputError(f"The capacity to start from is {start.capacity_ah:g} Ah; it must be above 0.")
        charge_sd_ah = float(_spread(start.sd_ah, 1, "capacity to start from")[0]) / sqrt(1.0 + (ratio * start.capacity_ah) ** 2)
        return empty.add(1.0, start.capacity_ah, ratio * charge_sd_ah, charge_sd_ah)

    def add(self, change: float, charge_ah: float, change_sd: float, charge_sd_ah: float, forgetting: float = 1.0) -> CapacitySums:
        """Sums with one pair more.

        Parameters
        ----------
        change, charge_ah : float
            Change of the state of charge [1] and the charge that passed [Ah]
        change_sd, charge_sd_ah : float
            Their standard uncertainties [1], [Ah]
        forgetting : float
            What the pairs before still count, above 0 up to 1 [1]

        Returns
        -------
        CapacitySums
            A new record; this one stays as it is [1]

        References
        ----------
        .. [1] G. L. Plett, J. Power Sources 196 (2011) 2319-2331, doi 10.1016/j.jpowsour.2010.09.048.
        """
        if not 0.0 < forgetting <= 1.0:
            raise InputError(f"The forgetting factor is {forgetting:g}; it must be above 0 and at most 1.")
        x, y = _columns(("changes of charge", change), ("amp-hours", charge_ah))
        x_sd, y_sd = _spread(change_sd, 1, "changes of charge"), _spread(charge_sd_ah, 1, "amp-hours")
        new = (*_sums(x, self.ratio * y, self.ratio * y_sd), *_sums(x, self.ratio * y, x_sd))
        return replace(self, sums=tuple(forgetting * old + more for old, more in zip(self.sums, new, strict=True)))

    def fit(self) -> CapacityFit:
        """Capacity from the pairs so far.

        Returns
        -------
        CapacityFit
            Capacity with its standard uncertainty [Ah]

        Notes
        -----
        With ``q = K Q`` the cost is ``[C4 q^4 - 2 C5 q^3 + (C1 + C6) q^2 - 2 C2 q + C3] / (q^2 + 1)^2``: the distance of
        each pair from the line, with the shares of both errors as if the line lay at the slope that scaling gives it.
        Its stationary points are the roots of a quartic; the positive one of least cost is taken. Exact where the errors
        of all pairs are in one proportion; of pairs whose proportion is `r` times the typical one the weight comes out
        too large by up to ``(1 + r^2)^2 / (4 r^2)``, near a tenth at a third more, and the uncertainty too small with it.

        References
        ----------
        .. [1] G. L. Plett, J. Power Sources 196 (2011) 2319-2331, doi 10.1016/j.jpowsour.2010.09.048.
        """
        c1, c2, c3, c4, c5, c6 = self.sums
        _positive(c2)
        quartic = (-c2, c1 - 2.0 * c3 + c6, 3.0 * (c2 - c5), -c1 + 2.0 * c4 - c6, c5)
        roots = np.roots(quartic[::-1])
        real = [float(root.real) for root in roots if abs(root.imag) < 1e-6 * abs(root) and root.real > 0]
        if not real:
            raise InputError(_UNTOLD)
        best = _polished(min(real, key=lambda q: _cost(self.sums, q)), quartic)
        bend = (
            c1 - 2.0 * c3 + c6,
            12.0 * c2 - 6.0 * c5,
            -8.0 * c1 + 10.0 * c3 + 6.0 * c4 - 8.0 * c6,
            -12.0 * c2 + 16.0 * c5,
            3.0 * c1 - 6.0 * c4 + 3.0 * c6,
            -2.0 * c5,
        )
        curvature = 2.0 * float(polyval(best, bend)) / (best**2 + 1.0) ** 4
        return CapacityFit(capacity_ah=best / self.ratio, sd_ah=_sd(curvature) / self.ratio)


def recursive_total_least_squares(
    change: ArrayLike,
    charge_ah: ArrayLike,
    change_sd: ArrayLike,
    charge_sd_ah: ArrayLike,
    forgetting: float = 1.0,
    start: CapacityFit | None = None,
) -> CapacityFit:
    """Capacity by the approximate fit that can be carried on pair by pair, here over a whole row of pairs.

    Parameters
    ----------
    change : ArrayLike
        Change of the state of charge, in time order, shape (n,) [1]
    charge_ah : ArrayLike
        Charge that passed, of the same sign, shape (n,) [Ah]
    change_sd : ArrayLike
        Standard uncertainty of `change`, shape (n,) or one number [1]
    charge_sd_ah : ArrayLike
        Standard uncertainty of `charge_ah`, shape (n,) or one number [Ah]
    forgetting : float
        What the pairs before still count at each new one, above 0 up to 1 [1]
    start : CapacityFit, optional
        What is known beforehand [Ah]

    Returns
    -------
    CapacityFit
        Capacity with its standard uncertainty [Ah]

    References
    ----------
    .. [1] G. L. Plett, J. Power Sources 196 (2011) 2319-2331, doi 10.1016/j.jpowsour.2010.09.048.
    """
    x, y = _columns(("changes of charge", change), ("amp-hours", charge_ah))
    x_sd, y_sd = _spread(change_sd, len(x), "changes of charge"), _spread(charge_sd_ah, len(x), "amp-hours")
    kept = CapacitySums.started(float(x_sd[0] / y_sd[0]), start)
    for pair in zip(x.tolist(), y.tolist(), x_sd.tolist(), y_sd.tolist(), strict=True):
        kept = kept.add(*pair, forgetting=forgetting)
    return kept.fit()


_UNTOLD = "These pairs tell no capacity: the amp-hours must go the same way as the change of charge. Check the signs and the order of the readings."


def _columns(*named: tuple[str, ArrayLike]) -> list[FloatArray]:
    """Check that all are rows of numbers, as long as each other."""
    columns = []
    for name, values in named:
        column = np.atleast_1d(np.asarray(values, dtype=np.float64))
        if column.ndim != 1 or len(column) == 0:
            raise InputError(f"The {name} must be one row of at least one number.")
        if not np.all(np.isfinite(column)):
            raise InputError(f"The {name} hold something that is not a number; leave that pair out.")
        columns.append(column)
    lengths = [len(column) for column in columns]
    if len(set(lengths)) > 1:
        counts = " and ".join(f"{length} {name}" for length, (name, _) in zip(lengths, named, strict=True))
        raise InputError(f"There are {counts}; each pair needs one of both.")
    return columns


def _spread(values: ArrayLike, count: int, name: str) -> FloatArray:
    """Check standard uncertainties: one for all or one each, above 0."""
    spread = np.asarray(values, dtype=np.float64)
    if spread.shape not in ((), (1,), (count,)):
        raise InputError(f"There are {spread.size} uncertainties of the {name} for {count}; give one for all or one each.")
    if not np.all(np.isfinite(spread)) or np.any(spread <= 0):
        raise InputError(f"An uncertainty of the {name} is {float(np.min(spread)):g}; it must be above 0.")
    return np.broadcast_to(spread, (count,))


def _ratio(ratio: float) -> float:
    if not (np.isfinite(ratio) and ratio > 0):
        raise InputError(f"The ratio of the uncertainties is {ratio:g}; it must be above 0.")
    return ratio


def _positive(product: float) -> float:
    if product <= 0:
        raise InputError(_UNTOLD)
    return product


def _sd(curvature: float) -> float:
    if curvature <= 0:
        raise InputError("These pairs lie too far from any one capacity to tell it. Check them for mistyped readings.")
    return sqrt(2.0 / curvature)


def _sums(x: FloatArray, y: FloatArray, sd: FloatArray) -> tuple[float, float, float]:
    """Return the weighted sums of ``x^2``, ``x y`` and ``y^2``."""
    weight = 1.0 / np.square(sd)
    return float(np.sum(weight * x * x)), float(np.sum(weight * x * y)), float(np.sum(weight * y * y))


def _cost(sums: Sequence[float], q: float) -> float:
    c1, c2, c3, c4, c5, c6 = sums
    return float(polyval(q, (c3, -2.0 * c2, c1 + c6, -2.0 * c5, c4))) / (q**2 + 1.0) ** 2


def _polished(root: float, quartic: Sequence[float]) -> float:
    """Return a root with the last digits that the eigenvalues behind `numpy.roots` leave open."""
    slope = [power * factor for power, factor in enumerate(quartic)][1:]
    for _ in range(3):
        steepness = float(polyval(root, slope))
        if steepness == 0:
            break
        root -= float(polyval(root, quartic)) / steepness
    return root


def _cost_slopes(capacity: float, x: FloatArray, y: FloatArray, x_sd: FloatArray, y_sd: FloatArray) -> tuple[float, float]:
    """Return the first and second derivative of the exact cost."""
    off = y - capacity * x
    variance = np.square(capacity * x_sd) + np.square(y_sd)
    rise = 2.0 * capacity * np.square(x_sd)
    first = -2.0 * off * x / variance - np.square(off) * rise / np.square(variance)
    second = (
        2.0 * np.square(x) / variance
        + 4.0 * off * x * rise / np.square(variance)
        - np.square(off) * 2.0 * np.square(x_sd) / np.square(variance)
        + 2.0 * np.square(off * rise) / variance**3
    )
    return float(np.sum(first)), float(np.sum(second))


def _bracket(x: FloatArray, y: FloatArray, x_sd: FloatArray, y_sd: FloatArray) -> tuple[float, float]:
    """Return two capacities between which the exact cost is least.

    The cost falls from 0 on, and when all pairs have the sign they should it rises above the largest quotient of a pair.
    """
    squares, product, charges = _sums(x, y, y_sd)
    likely = [_positive(product) / squares, charges / product]
    told = x * y > 0
    quotients = np.append(y[told] / x[told], likely)
    low, high = 0.5 * float(quotients.min()), 2.0 * float(quotients.max())
    end = high * _WIDEST
    while _cost_slopes(high, x, y, x_sd, y_sd)[0] < 0:
        high *= 2.0
        if high > end:
            raise InputError(_UNTOLD)
    grid = np.geomspace(low, high, _GRID)
    parts = np.array_split(grid[:, None], 1 + _GRID * len(x) // _AT_ONCE)
    cost = [np.sum(np.square(y - part * x) / (np.square(part * x_sd) + np.square(y_sd)), axis=1) for part in parts]
    least = int(np.argmin(np.concatenate(cost)))
    return float(grid[max(least - 1, 0)]), float(grid[min(least + 1, _GRID - 1)])
