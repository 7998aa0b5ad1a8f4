"""Internal resistance from what a meter shows under load, and how temperature moves it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

GAS_CONSTANT_J_MOL_K = 8.31446261815324
"""Exact since 2019 (BIPM SI Brochure, 9th edition)."""

REFERENCE_K = 298.15


def resistance_from_step(voltage_1_v: ArrayLike, current_1_a: ArrayLike, voltage_2_v: ArrayLike, current_2_a: ArrayLike) -> FloatArray:
    """Direct-current resistance from two loads one after the other.

    Parameters
    ----------
    voltage_1_v, voltage_2_v : ArrayLike
        Voltage at the end of the light and of the heavy load, shapes that broadcast [V]
    current_1_a, current_2_a : ArrayLike
        Discharge currents of the two loads, discharge positive [A]

    Returns
    -------
    FloatArray
        Resistance; NaN where the currents are equal [ohm]

    References
    ----------
    .. [1] IEC 61960-3, measurement of the internal direct-current resistance:
       R = (U1 - U2) / (I2 - I1), 0.2 It for 10 s, then 1.0 It for 1 s.
    """
    change_a = np.asarray(current_2_a, dtype=np.float64) - np.asarray(current_1_a, dtype=np.float64)
    drop_v = np.asarray(voltage_1_v, dtype=np.float64) - np.asarray(voltage_2_v, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(change_a != 0, drop_v / change_a, np.nan), dtype=np.float64)


def resistance_from_sag(rest_voltage_v: ArrayLike, loaded_v: ArrayLike, current_a: ArrayLike) -> FloatArray:
    """Resistance, polarisation included, from the sag between rested and loaded voltage.

    Parameters
    ----------
    rest_voltage_v : ArrayLike
        Rested voltage at the state of charge of that moment [V]
    loaded_v : ArrayLike
        Voltage under load [V]
    current_a : ArrayLike
        Discharge current, discharge positive [A]

    Returns
    -------
    FloatArray
        Sag over current; NaN without a current [ohm]

    Notes
    -----
    It mixes the ohmic part with what builds up over seconds to minutes, so it is larger than a step gives.

    References
    ----------
    .. [1] Limit of the step method of IEC 61960-3 with the light load taken as none.
    """
    return resistance_from_step(rest_voltage_v, 0.0, loaded_v, current_a)


def arrhenius_factor(temperature_k: ArrayLike, energy_j_mol: float, reference_k: float = REFERENCE_K) -> FloatArray:
    """How many times larger a resistance is than at the reference temperature.

    Parameters
    ----------
    temperature_k : ArrayLike
        Cell temperature, any shape [K]
    energy_j_mol : float
        Activation energy of the resistance [J/mol]
    reference_k : float
        Temperature at which the factor is 1 [K]

    Returns
    -------
    FloatArray
        ``exp(E / R (1/T - 1/T0))`` [1]

    References
    ----------
    .. [1] T. R. Jow, M. B. Marx, J. L. Allen, J. Electrochem. Soc. 159 (2012) A604, doi 10.1149/2.079205jes:
       charge transfer follows an Arrhenius relation.
    """
    inverse = 1.0 / np.asarray(temperature_k, dtype=np.float64) - 1.0 / reference_k
    return np.exp(energy_j_mol / GAS_CONSTANT_J_MOL_K * inverse)


def at_reference(resistance_ohm: ArrayLike, temperature_k: ArrayLike, energy_j_mol: float) -> FloatArray:
    """Resistance a cell would show at 25 °C.

    Parameters
    ----------
    resistance_ohm : ArrayLike
        As measured at `temperature_k` [ohm]
    temperature_k : ArrayLike
        Cell temperature [K]
    energy_j_mol : float
        Activation energy [J/mol]

    Returns
    -------
    FloatArray
        Resistance at 25 °C [ohm]

    References
    ----------
    .. [1] As in `arrhenius_factor`.
    """
    return np.asarray(resistance_ohm, dtype=np.float64) / arrhenius_factor(temperature_k, energy_j_mol)
