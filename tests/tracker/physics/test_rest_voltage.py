"""Rested voltage and state of charge there and back, what a reading is worth, and relaxation after load."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from tracker.estimators.cell_family import family
from tracker.physics.rest_voltage import Relaxation, RestCurve, rest_curve

FloatArray = NDArray[np.float64]

CHEMISTRIES = ["lipo", "lihv", "liion", "life", "nimh", "nicd", "lead"]
SOCS = np.linspace(0.0, 1.0, 201)
ITERATION_SOC = 0.02
"""What six rounds of the iteration for a pack's own curve leave over."""


def gentle(curve: RestCurve, shape: int, sign: float) -> FloatArray:
    """One principal deviation, small enough that the pack's own curve still rises everywhere at half the mean curve's pace."""
    coefficients = np.zeros(curve.shape_count)
    steepest = np.max(np.abs(np.diff(curve.shape_values(SOCS)[:, shape]) / np.diff(SOCS)))
    coefficients[shape] = sign * min(1.0, 0.5 / float(steepest))
    return coefficients


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_charge_to_voltage_and_back_on_the_mean_curve(chemistry: str) -> None:
    """Round trip."""
    curve = family(chemistry).curve
    np.testing.assert_allclose(curve.soc(curve.voltage(SOCS)), SOCS, atol=1e-9)


@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_charge_to_voltage_and_back_on_a_packs_own_curve(chemistry: str, sign: float) -> None:
    """Round trip through soc = m(v) + sum of deviations at m(v), for each principal deviation, away from the held ends."""
    curve = family(chemistry).curve
    soc = np.linspace(0.05, 0.95, 91)
    for shape in range(curve.shape_count):
        deviation = gentle(curve, shape, sign)
        mean_soc = curve.soc(curve.voltage(soc, deviation))
        np.testing.assert_allclose(mean_soc + curve.shape_values(mean_soc) @ deviation, soc, atol=ITERATION_SOC)


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_no_deviation_is_the_mean_curve(chemistry: str) -> None:
    """Limit."""
    curve = family(chemistry).curve
    soc = np.linspace(0.05, 0.95, 19)
    np.testing.assert_allclose(curve.voltage(soc, np.zeros(curve.shape_count)), curve.voltage(soc), atol=1e-12)


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_own_curve_differs_the_way_the_deviation_says(chemistry: str) -> None:
    """Limit: at a given voltage more charge than on the mean curve means a lower voltage at a given charge."""
    curve = family(chemistry).curve
    soc = np.linspace(0.2, 0.8, 61)
    deviation = gentle(curve, 0, 1.0)
    more = curve.shape_values(soc) @ deviation > 0.01
    less = curve.shape_values(soc) @ deviation < -0.01
    assert np.any(more | less)
    assert np.all(curve.voltage(soc, deviation)[more] < curve.voltage(soc)[more])
    assert np.all(curve.voltage(soc, deviation)[less] > curve.voltage(soc)[less])


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_curve_rises_all_the_way(chemistry: str) -> None:
    """Limit: more charge, more voltage; more voltage, more charge; also a little beyond both ends."""
    curve = family(chemistry).curve
    assert np.all(np.diff(curve.voltage(SOCS)) > 0)
    assert np.all(np.diff(curve.soc(np.linspace(curve.voltage_v[0], curve.voltage_v[-1], 300))) > 0)
    assert curve.soc(curve.voltage_v[0] - 1.0) < 0.0 < 1.0 < curve.soc(curve.voltage_v[-1] + 1.0)


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_slope_is_that_of_the_curve(chemistry: str) -> None:
    """Independent: numpy.gradient of the curve itself, averaged over the same few percent."""
    curve = family(chemistry).curve
    fine = np.linspace(0.0, 1.0, 2001)
    gradient = np.gradient(curve.voltage(fine), fine)
    for soc in (0.1, 0.5, 0.9):
        near = np.abs(fine - soc) <= 0.015
        assert curve.slope(soc) == pytest.approx(float(gradient[near].mean()), rel=0.05)


@pytest.mark.parametrize("sd_v", [0.003, 0.010])
@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_uncertainty_of_a_reading_by_drawing_readings(chemistry: str, sd_v: float) -> None:
    """Independent: JCGM 101:2008, the spread of 20 000 drawn readings put through the curve."""
    curve = family(chemistry).curve
    volts = curve.voltage(np.linspace(0.05, 0.95, 19))
    mean, sd = curve.soc_with_sd(volts, sd_v)
    drawn = curve.soc(volts + sd_v * np.random.default_rng(2).normal(size=(20_000, 1)))
    np.testing.assert_allclose(sd, drawn.std(axis=0), rtol=0.15)
    assert np.all(np.abs(mean - drawn.mean(axis=0)) < 0.15 * sd)


def test_reading_beside_a_plateau_is_less_sure_than_the_slope_there_says() -> None:
    """Limit: a reading where the curve is still steep may belong to the plateau next to it, so one slope is not enough."""
    curve = rest_curve([(np.array([0.0, 0.1, 0.9, 1.0]), np.array([3.0, 3.29, 3.31, 3.6]))], 0.02)
    shoulder_v, sd_v = 3.28, 0.010
    soc, sd = curve.soc_with_sd(shoulder_v, sd_v)
    assert soc < 0.3
    assert sd > 4.0 * sd_v / curve.slope(curve.soc(shoulder_v))


def test_reading_on_a_plateau_is_as_unsure_as_the_plateau_is_wide() -> None:
    """Limit: however coarse the meter, what lies beyond the plateau bounds the doubt, where the slope formula has no bound."""
    curve = rest_curve([(np.array([0.0, 0.1, 0.9, 1.0]), np.array([3.0, 3.29, 3.31, 3.6]))], 0.02)
    _, sd = curve.soc_with_sd(3.30, 0.030)
    assert 0.2 < sd < 0.5
    assert 0.030 / curve.slope(0.5) > 1.0


def test_phosphate_plateau_makes_a_reading_worth_little() -> None:
    """Regression: 10 mV is worth a tenth of the charge or more in the middle of a phosphate cell, a percent near its ends."""
    curve = family("life").curve
    _, middle = curve.soc_with_sd(curve.voltage(0.5), 0.010)
    _, low = curve.soc_with_sd(curve.voltage(0.02), 0.010)
    assert middle > 0.10
    assert low < 0.02


def test_surer_reading_gives_a_surer_charge() -> None:
    """Limit."""
    curve = family("lipo").curve
    _, sd = curve.soc_with_sd(3.80, np.array([0.001, 0.003, 0.010, 0.030]))
    assert np.all(np.diff(sd) > 0)


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_relaxation_is_missing_voltage_that_goes_to_nothing(chemistry: str) -> None:
    """Limit: positive, falling with time, nothing after a day; nothing without a current."""
    cells = family(chemistry)
    time_s = np.concatenate([[0.0], np.geomspace(1.0, 86_400.0, 60)])
    for soc in (0.05, 0.3, 0.6, 0.9):
        missing = cells.relaxation.deficit(time_s, 2.0, cells.curve.slope(soc))
        assert np.all(missing >= 0)
        assert missing[0] > 0
        assert np.all(np.diff(missing) <= 0)
        assert missing[-1] < 1e-6
        np.testing.assert_array_equal(cells.relaxation.deficit(time_s, 0.0, cells.curve.slope(soc)), 0.0)


def test_relaxation_formula_at_its_marks() -> None:
    """Limit of c g(t) (a + b dV/dsoc) f(T): at once everything is missing; the fast part is down by e after its time."""
    both = Relaxation(volts_per_c=0.02, soc_per_c=0.01, fast_share=1.0, fast_s=100.0, slow_s=1000.0, energy_j_mol=0.0)
    assert both.deficit(0.0, 3.0, 0.5) == pytest.approx(3.0 * (0.02 + 0.01 * 0.5))
    assert both.deficit(100.0, 3.0, 0.5) == pytest.approx(3.0 * 0.025 / np.e)
    assert both.deficit(0.0, 3.0, 0.5, 2.0) == pytest.approx(2.0 * both.deficit(0.0, 3.0, 0.5))


def test_arrays_give_what_single_numbers_give() -> None:
    """Limit: an array is its elements, in every argument."""
    cells = family("lipo")
    volts = np.array([[3.3, 3.7], [3.85, 4.1]])
    for index in np.ndindex(2, 2):
        assert cells.curve.soc(volts)[index] == cells.curve.soc(volts[index])
        assert cells.curve.soc_with_sd(volts, 0.01)[1][index] == pytest.approx(
            float(cells.curve.soc_with_sd(volts[index], 0.01)[1]), rel=1e-12
        )
    rest_s, c_rate = np.array([[0.0], [600.0]]), np.array([1.0, 5.0])
    found = cells.relaxation.deficit(rest_s, c_rate, 0.8)
    assert found.shape == (2, 2)
    assert found[1, 1] == cells.relaxation.deficit(600.0, 5.0, 0.8)


def test_family_of_alike_makes_has_their_curve() -> None:
    """Limit: makes that agree give that curve as the mean, with the spread asked for in mid-range."""
    soc, volts = np.linspace(0.0, 1.0, 11), np.linspace(3.0, 4.2, 11)
    curve = rest_curve([(soc, volts), (soc, volts)], 0.05)
    np.testing.assert_allclose(curve.voltage(soc), volts, atol=1e-3)
    assert float(np.sqrt(np.sum(np.square(curve.shape_values(0.5))))) == pytest.approx(0.05, rel=0.05)
    assert float(np.sqrt(np.sum(np.square(curve.shape_values(1.0))))) < 1e-6


def test_makes_that_differ_widen_the_spread() -> None:
    """Limit: two makes ten percent of charge apart in the middle are more spread than two that agree."""
    soc = np.linspace(0.0, 1.0, 11)
    bent = np.linspace(3.0, 4.2, 11) + 0.06 * np.sin(np.pi * soc)
    apart = rest_curve([(soc, np.linspace(3.0, 4.2, 11)), (soc, bent)], 0.02)
    alike = rest_curve([(soc, bent), (soc, bent)], 0.02)

    def spread(curve: RestCurve) -> float:
        return float(np.sqrt(np.sum(np.square(curve.shape_values(0.5)))))

    assert spread(apart) > 1.5 * spread(alike)
