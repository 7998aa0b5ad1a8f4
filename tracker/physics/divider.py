"""The divider through which a controller senses its pack, and what one resistor more does to the trip point.

The controller lets go when the voltage across the bottom part falls to its reference. Pack positive, top part, tap,
bottom part, pack negative; the current into the tap is neglected.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

PLACES = ("across_bottom", "across_top", "series_top", "series_bottom")
"""Where a resistor can be added: across a part, or in series with it."""

RAISING = ("across_bottom", "series_top")
"""Places that raise the trip point; the others lower it."""


class Parts(NamedTuple):
    """The two parts of a divider."""

    top_ohm: FloatArray
    bottom_ohm: FloatArray


def reference_voltage(trip_v: ArrayLike, top_ohm: ArrayLike, bottom_ohm: ArrayLike) -> FloatArray:
    """Voltage across the bottom part at which a controller lets go.

    Parameters
    ----------
    trip_v : ArrayLike
        Pack voltage at which it lets go [V]
    top_ohm, bottom_ohm : ArrayLike
        The parts, shapes that broadcast; only their ratio matters [ohm]

    Returns
    -------
    FloatArray
        ``V / (1 + Rt / Rb)`` [V]

    References
    ----------
    .. [1] Ohm's law for two resistors in series, as in `trip_voltage`.
    """
    return np.asarray(np.asarray(trip_v, dtype=np.float64) / (1.0 + np.divide(top_ohm, bottom_ohm)), dtype=np.float64)


def trip_voltage(reference_v: ArrayLike, top_ohm: ArrayLike, bottom_ohm: ArrayLike) -> FloatArray:
    """Pack voltage at which a controller lets go.

    Parameters
    ----------
    reference_v : ArrayLike
        Voltage across the bottom part at which it does [V]
    top_ohm, bottom_ohm : ArrayLike
        The parts, shapes that broadcast; only their ratio matters [ohm]

    Returns
    -------
    FloatArray
        ``Vref (1 + Rt / Rb)`` [V]

    Notes
    -----
    The current into the tap is neglected. Designers of such dividers keep the current through the parts about a
    hundred times larger than that into the tap [1]_.

    References
    ----------
    .. [1] Texas Instruments application note SLVA450, Optimizing resistor dividers at a comparator input.
    """
    return np.asarray(np.asarray(reference_v, dtype=np.float64) * (1.0 + np.divide(top_ohm, bottom_ohm)), dtype=np.float64)


def altered(place: str, top_ohm: ArrayLike, bottom_ohm: ArrayLike, added_ohm: ArrayLike) -> Parts:
    """The two parts as they work once a resistor has been added.

    Parameters
    ----------
    place : str
        One of `PLACES`
    top_ohm, bottom_ohm, added_ohm : ArrayLike
        The parts and the resistor added, shapes that broadcast [ohm]

    Returns
    -------
    Parts
        Top and bottom [ohm]

    References
    ----------
    .. [1] Resistors in parallel, ``R1 R2 / (R1 + R2)``, and in series, ``R1 + R2``.
    """
    top, bottom, added = (np.asarray(part, dtype=np.float64) for part in (top_ohm, bottom_ohm, added_ohm))
    if place == "across_bottom":
        return Parts(top, bottom * added / (bottom + added))
    if place == "across_top":
        return Parts(top * added / (top + added), bottom)
    if place == "series_top":
        return Parts(top + added, bottom)
    return Parts(top, bottom + added)


def trip_with(place: str, reference_v: ArrayLike, top_ohm: ArrayLike, bottom_ohm: ArrayLike, added_ohm: ArrayLike) -> FloatArray:
    """Pack voltage at which a controller lets go once a resistor has been added.

    Parameters
    ----------
    place : str
        One of `PLACES`
    reference_v : ArrayLike
        Voltage across the bottom part at which it lets go [V]
    top_ohm, bottom_ohm, added_ohm : ArrayLike
        The parts and the resistor added, shapes that broadcast [ohm]

    Returns
    -------
    FloatArray
        Trip voltage [V]

    References
    ----------
    .. [1] `trip_voltage` of the `altered` parts.
    """
    return trip_voltage(reference_v, *altered(place, top_ohm, bottom_ohm, added_ohm))


def added_resistance(place: str, reference_v: ArrayLike, top_ohm: ArrayLike, bottom_ohm: ArrayLike, wanted_v: ArrayLike) -> FloatArray:
    """Resistor that moves the trip point to where it is wanted.

    Parameters
    ----------
    place : str
        One of `PLACES`
    reference_v : ArrayLike
        Voltage across the bottom part at which the controller lets go [V]
    top_ohm, bottom_ohm : ArrayLike
        The parts; in units of one of them the answer is in the same unit [ohm]
    wanted_v : ArrayLike
        Trip voltage wanted [V]

    Returns
    -------
    FloatArray
        The resistor; NaN where none above zero does it at this place [ohm]

    Notes
    -----
    With the part needed in place of the old one, ``Rb' = Rt Vref / (V - Vref)`` or ``Rt' = Rb (V / Vref - 1)``: across
    a part ``R R' / (R - R')``, in series with it ``R' - R``.

    References
    ----------
    .. [1] `trip_voltage` solved for one part; resistors in parallel and in series.
    """
    reference, top, bottom, wanted = (np.asarray(each, dtype=np.float64) for each in (reference_v, top_ohm, bottom_ohm, wanted_v))
    with np.errstate(divide="ignore", invalid="ignore"):
        above = wanted / reference - 1.0
        at_bottom = place in ("across_bottom", "series_bottom")
        old, needed = (bottom, top / above) if at_bottom else (top, bottom * above)
        added = old * needed / (old - needed) if place in ("across_bottom", "across_top") else needed - old
        return np.asarray(np.where((above > 0) & (added > 0) & np.isfinite(added), added, np.nan), dtype=np.float64)


def sensitivities(place: str, top_ohm: ArrayLike, bottom_ohm: ArrayLike, added_ohm: ArrayLike) -> FloatArray:
    """How much the trip voltage moves with each part, both as shares of themselves.

    Parameters
    ----------
    place : str
        One of `PLACES`
    top_ohm, bottom_ohm, added_ohm : ArrayLike
        The parts and the resistor added, shapes that broadcast [ohm]

    Returns
    -------
    FloatArray
        Relative sensitivity to reference, top, bottom and added resistor, shape (4, …) [1]

    Notes
    -----
    ``dV/V = dVref/Vref + a (dRt/Rt - dRb/Rb)`` with ``a = Rt' / (Rt' + Rb')`` of the altered parts. A part with a
    resistor across it shares its sensitivity with that one, ``R2 / (R1 + R2)`` for R1; one in series, ``R1 / (R1 + R2)``.

    References
    ----------
    .. [1] JCGM 100:2008, clause 5.1.3, the partial derivatives of `trip_with`.
    """
    top, bottom, added = np.broadcast_arrays(*(np.asarray(part, dtype=np.float64) for part in (top_ohm, bottom_ohm, added_ohm)))
    new = altered(place, top, bottom, added)
    share = new.top_ohm / (new.top_ohm + new.bottom_ohm)
    old = bottom if place.endswith("bottom") else top
    of_old = added / (old + added) if place.startswith("across") else old / (old + added)
    if place.endswith("bottom"):
        parts = (share, -share * of_old, -share * (1.0 - of_old))
    else:
        parts = (share * of_old, -share, share * (1.0 - of_old))
    return np.stack([np.ones_like(share), *parts])


def added_power(place: str, supply_v: ArrayLike, top_ohm: ArrayLike, bottom_ohm: ArrayLike, added_ohm: ArrayLike) -> FloatArray:
    """Power that the added resistor turns into heat.

    Parameters
    ----------
    place : str
        One of `PLACES`
    supply_v : ArrayLike
        Pack voltage [V]
    top_ohm, bottom_ohm, added_ohm : ArrayLike
        The parts and the resistor added, shapes that broadcast [ohm]

    Returns
    -------
    FloatArray
        Power [W]

    References
    ----------
    .. [1] Joule's law, ``U**2 / R`` across a part and ``I**2 R`` in series with it.
    """
    new, added = altered(place, top_ohm, bottom_ohm, added_ohm), np.asarray(added_ohm, dtype=np.float64)
    current_a = np.asarray(supply_v, dtype=np.float64) / (new.top_ohm + new.bottom_ohm)
    if place.startswith("series"):
        return np.asarray(np.square(current_a) * added, dtype=np.float64)
    across = new.bottom_ohm if place == "across_bottom" else new.top_ohm
    return np.asarray(np.square(current_a * across) / added, dtype=np.float64)
