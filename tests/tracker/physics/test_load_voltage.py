"""Resistance from two loads and from a sag, and how temperature moves it."""

from __future__ import annotations

import numpy as np
import pytest

from tracker.physics.load_voltage import REFERENCE_K, arrhenius_factor, at_reference, resistance_from_sag, resistance_from_step

FREEZING_K = 273.15


def test_direct_current_resistance_of_a_5_ah_cell() -> None:
    """Published method: IEC 61960-3, R = (U1 - U2) / (I2 - I1) with I1 = 0.2 It and I2 = 1.0 It; 20.0 milliohm for these readings."""
    assert resistance_from_step(3.800, 0.2 * 5.0, 3.720, 1.0 * 5.0) == pytest.approx(0.0200, abs=1e-12)


def test_step_is_the_same_whichever_load_is_named_first() -> None:
    """Limit: the two loads may be exchanged."""
    assert resistance_from_step(3.720, 5.0, 3.800, 1.0) == pytest.approx(0.020, abs=1e-12)


def test_no_change_of_current_gives_no_resistance() -> None:
    """Limit: the same current twice says nothing, and only that element says nothing."""
    found = resistance_from_step([3.8, 3.8, 3.8], 1.0, [3.8, 3.7, 3.7], [1.0, 1.0, 3.0])
    np.testing.assert_allclose(found, [np.nan, np.nan, 0.05])


def test_no_current_gives_no_resistance_from_a_sag() -> None:
    """Limit: zero current."""
    assert np.isnan(resistance_from_sag(3.8, 3.7, 0.0))


def test_sag_is_a_step_from_no_load() -> None:
    """Limit of the step method with the light load taken as none."""
    assert resistance_from_sag(3.90, 3.60, 30.0) == pytest.approx(0.010, abs=1e-12)
    assert resistance_from_sag(3.90, 3.60, 30.0) == resistance_from_step(3.90, 0.0, 3.60, 30.0)


def test_arrays_give_what_single_numbers_give() -> None:
    """Limit: an array is its elements, and shapes broadcast."""
    rest_v, loaded_v, current_a = np.array([[4.1], [3.8]]), np.array([3.7, 3.6, 3.5]), np.array([10.0, 20.0, 40.0])
    found = resistance_from_sag(rest_v, loaded_v, current_a)
    assert found.shape == (2, 3)
    for row in range(2):
        for column in range(3):
            assert found[row, column] == resistance_from_sag(rest_v[row, 0], loaded_v[column], current_a[column])


def test_charge_transfer_in_the_cold() -> None:
    """Published: T. R. Jow et al., J. Electrochem. Soc. 159 (2012) A604, doi 10.1149/2.079205jes: 25 kJ/mol, 0 against 25 °C, 2.517."""
    assert arrhenius_factor(FREEZING_K, 25_000.0) == pytest.approx(2.517, abs=0.005)


def test_factor_is_one_at_25_degrees() -> None:
    """Limit: the reference temperature itself, whatever the energy, and any temperature without an energy."""
    assert arrhenius_factor(REFERENCE_K, 25_000.0) == 1.0
    np.testing.assert_array_equal(arrhenius_factor([253.15, 273.15, 313.15], 0.0), 1.0)
    assert arrhenius_factor(FREEZING_K, 25_000.0, reference_k=FREEZING_K) == 1.0


def test_cold_raises_and_heat_lowers_resistance() -> None:
    """Limit: the factor falls all the way from frost to heat, through 1 at 25 °C."""
    temperature_k = np.linspace(253.15, 333.15, 81)
    factor = arrhenius_factor(temperature_k, 31_000.0)
    assert np.all(np.diff(factor) < 0)
    assert np.all((factor > 1.0) == (temperature_k < REFERENCE_K))


def test_factors_multiply_along_a_chain_of_temperatures() -> None:
    """Limit: from 0 to 10 °C and on to 25 °C is the same as from 0 to 25 °C."""
    chain = arrhenius_factor(FREEZING_K, 25_000.0, reference_k=283.15) * arrhenius_factor(283.15, 25_000.0)
    assert chain == pytest.approx(arrhenius_factor(FREEZING_K, 25_000.0), rel=1e-12)


def test_resistance_brought_to_25_degrees_and_back() -> None:
    """Round trip."""
    temperature_k = np.array([263.15, 298.15, 313.15])
    warm = at_reference(0.030, temperature_k, 31_000.0)
    np.testing.assert_allclose(warm * arrhenius_factor(temperature_k, 31_000.0), 0.030, rtol=1e-14)
    assert warm[0] < warm[1] == 0.030 < warm[2]
