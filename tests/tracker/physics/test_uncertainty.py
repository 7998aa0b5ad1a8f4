"""Combining standard uncertainties, and probabilities and averages from them."""

from __future__ import annotations

import numpy as np
import pytest

from tracker.physics.uncertainty import COVERAGE_FACTOR_90, combine, from_limits, from_resolution, normal_nodes, probability_below


def test_limits_of_70_millivolts() -> None:
    """Published: JCGM 100:2008, clause 4.3.7, eq. (7): a rectangular distribution of half width a has u = a / sqrt(3)."""
    assert from_limits(0.070) == pytest.approx(0.0404, abs=0.0001)


def test_rectangular_distribution_by_drawing_from_it() -> None:
    """The spread of numbers drawn evenly between the limits is the standard uncertainty."""
    drawn = np.random.default_rng(1).uniform(-0.070, 0.070, 400_000)
    assert float(drawn.std()) == pytest.approx(float(from_limits(0.070)), rel=0.005)


def test_display_of_10_millivolts() -> None:
    """Published: JCGM 100:2008, clause F.2.2.1: u = 0.29 times the step."""
    assert from_resolution(0.010) == pytest.approx(0.0029, abs=0.00005)


def test_no_width_is_no_uncertainty() -> None:
    """Limit."""
    assert from_limits(0.0) == 0.0
    assert from_resolution(0.0) == 0.0
    assert combine() == 0.0
    assert combine(0.0, 0.0) == 0.0


def test_independent_contributions_add_in_squares() -> None:
    """Published: JCGM 100:2008, eq. (10) with uncorrelated inputs; 3 and 4 give 5, whatever their order and sign."""
    assert combine(3.0, 4.0) == pytest.approx(5.0)
    assert combine(-4.0, 3.0) == pytest.approx(5.0)
    assert combine(0.7) == pytest.approx(0.7)


def test_arrays_give_what_single_numbers_give() -> None:
    """Limit: an array is its elements, and shapes broadcast."""
    found = combine([[0.3], [1.0]], [0.4, 2.0, 0.0])
    assert found.shape == (2, 3)
    for row, first in enumerate((0.3, 1.0)):
        for column, second in enumerate((0.4, 2.0, 0.0)):
            assert found[row, column] == combine(first, second)
    np.testing.assert_array_equal(from_limits([0.1, 0.2]), [from_limits(0.1), from_limits(0.2)])
    np.testing.assert_array_equal(
        probability_below(3.0, [2.9, 3.1], [0.1, 0.2]), [probability_below(3.0, 2.9, 0.1), probability_below(3.0, 3.1, 0.2)]
    )


def test_ninety_percent_interval_holds_ninety_percent() -> None:
    """Published: JCGM 100:2008, Table G.1, 1.645; between the ends lie 90 %."""
    assert pytest.approx(1.645, abs=0.0005) == COVERAGE_FACTOR_90
    inside = probability_below(COVERAGE_FACTOR_90, 0.0, 1.0) - probability_below(-COVERAGE_FACTOR_90, 0.0, 1.0)
    assert inside == pytest.approx(0.90, abs=1e-12)


@pytest.mark.parametrize(("scaled", "published"), [(0.0, 0.5), (1.0, 0.841345), (2.0, 0.977250), (-3.0, 0.001350)])
def test_normal_probability_table(scaled: float, published: float) -> None:
    """Published: M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 1964, Table 26.1."""
    assert probability_below(3.0 + scaled * 0.2, 3.0, 0.2) == pytest.approx(published, abs=1e-6)


def test_certain_values_give_certain_probabilities() -> None:
    """Limit: no uncertainty gives 0 or 1, and a half where the value is the limit itself."""
    np.testing.assert_array_equal(probability_below(3.0, [3.1, 2.9, 3.0], 0.0), [0.0, 1.0, 0.5])


@pytest.mark.parametrize("points", [3, 5, 7])
def test_averaging_nodes_know_the_moments_of_the_normal_distribution(points: int) -> None:
    """Published: Abramowitz and Stegun 25.4.46, exact up to degree 2 n - 1; even moments 1, 1, 3, 15, 105."""
    nodes, weights = normal_nodes(points)
    assert len(nodes) == points
    for power, moment in ((0, 1.0), (2, 1.0), (4, 3.0), (6, 15.0), (8, 105.0)):
        if power <= 2 * points - 1:
            assert weights @ nodes**power == pytest.approx(moment, rel=1e-10)
    for power in (1, 3, 5):
        assert weights @ nodes**power == pytest.approx(0.0, abs=1e-10)
