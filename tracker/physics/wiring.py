"""Copper, wire gauge and connectors: what the leads between pack and controller take away."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.errors import InputError

FloatArray = NDArray[np.float64]

ROOM_K = 293.15
COPPER_OHM_M = 1.0 / 58e6
"""Resistivity of annealed copper at 20 °C (IEC 60028:1925: 58 MS/m)."""
COPPER_PER_K = 0.00393
"""Temperature coefficient of annealed copper at 20 °C (IEC 60028:1925)."""

_SMALLEST_M = 0.127e-3
_SMALLEST_GAUGE = 36
_STEP = 92.0 ** (1.0 / 39.0)
_GAUGES = (-3, 40)


def copper_resistivity(temperature_k: ArrayLike = ROOM_K) -> FloatArray:
    """Resistivity of annealed copper.

    Parameters
    ----------
    temperature_k : ArrayLike
        Temperature of the copper, any shape [K]

    Returns
    -------
    FloatArray
        Resistivity [ohm m]

    References
    ----------
    .. [1] IEC 60028:1925, International standard of resistance for copper: 1/58 ohm mm2/m and 0.00393 a kelvin at 20 °C.
    """
    return np.asarray(COPPER_OHM_M * (1.0 + COPPER_PER_K * (np.asarray(temperature_k, dtype=np.float64) - ROOM_K)))


def gauge_diameter(gauge: int) -> float:
    """Diameter of a solid wire of an American wire gauge.

    Parameters
    ----------
    gauge : int
        Gauge number, -3 (the thickest, 4/0) to 40 [1]

    Returns
    -------
    float
        Diameter [m]

    Raises
    ------
    InputError
        When there is no such gauge.

    References
    ----------
    .. [1] ASTM B258: 36 is 0.0050 in, 4/0 is 0.4600 in, 39 equal ratios between them.
    """
    if not _GAUGES[0] <= gauge <= _GAUGES[1]:
        raise InputError(f"The wire gauge is {gauge}; allowed is {_GAUGES[0]} (4/0) to {_GAUGES[1]}. Give the number printed on the lead.")
    return float(_SMALLEST_M * _STEP ** (_SMALLEST_GAUGE - gauge))


def gauge_area(gauge: int) -> float:
    """Copper area of an American wire gauge.

    Parameters
    ----------
    gauge : int
        Gauge number, -3 (4/0) to 40 [1]

    Returns
    -------
    float
        Area [m2]

    References
    ----------
    .. [1] ASTM B258.
    """
    return float(np.pi / 4.0 * gauge_diameter(gauge) ** 2)


def wire_resistance(area_m2: ArrayLike, length_m: ArrayLike, temperature_k: ArrayLike = ROOM_K) -> FloatArray:
    """Resistance of a copper wire.

    Parameters
    ----------
    area_m2 : ArrayLike
        Copper area [m2]
    length_m : ArrayLike
        Length of the wire, out and back together [m]
    temperature_k : ArrayLike
        Temperature of the copper [K]

    Returns
    -------
    FloatArray
        Resistance [ohm]

    Notes
    -----
    For solid wire. The limits of IEC 60228 for stranded flexible conductors lie up to a fifth higher.

    References
    ----------
    .. [1] IEC 60028:1925.
    """
    return np.asarray(copper_resistivity(temperature_k) * np.asarray(length_m, dtype=np.float64) / np.asarray(area_m2, dtype=np.float64))


def lead_resistance(
    gauge: int, each_way_m: float, connector_pairs: int = 0, connector_ohm: float = 0.0, temperature_k: float = ROOM_K
) -> float:
    """Resistance of a pair of leads with their connectors, out and back.

    Parameters
    ----------
    gauge : int
        American wire gauge of both leads [1]
    each_way_m : float
        Length of one lead [m]
    connector_pairs : int
        How many plugs with two contacts lie in between [1]
    connector_ohm : float
        Resistance of one contact [ohm]
    temperature_k : float
        Temperature of the copper [K]

    Returns
    -------
    float
        Resistance of the whole loop [ohm]

    Raises
    ------
    InputError
        When the gauge is unknown, or a length, count or resistance is below 0.

    References
    ----------
    .. [1] IEC 60028:1925, ASTM B258. From memory: 0.2 to 1 milliohm for a clean power contact of 3.5 to 5 mm.
    """
    for what, value in (
        ("length of the leads", each_way_m),
        ("number of connectors", connector_pairs),
        ("contact resistance", connector_ohm),
    ):
        if not (np.isfinite(value) and value >= 0):
            raise InputError(f"The {what} is {value:g}; it must be 0 or more.")
    return float(wire_resistance(gauge_area(gauge), 2.0 * each_way_m, temperature_k)) + 2.0 * connector_pairs * connector_ohm
