"""One resistor more on a sense divider: worked values, limits and round trips."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.physics.divider import (
    PLACES,
    RAISING,
    FloatArray,
    added_power,
    added_resistance,
    altered,
    reference_voltage,
    sensitivities,
    trip_voltage,
    trip_with,
)
from tracker.physics.tolerance import drawn_interval, root_sum_square, worst_case

RATIO = st.floats(0.05, 20.0)
OHM = st.floats(10.0, 1e6)


@pytest.mark.parametrize(
    ("place", "added", "trip", "within"),
    [
        # Worked by hand for 2.5 V and 10 k over 10 k, which let go at 5.000 V.
        ("across_bottom", 25_000.0, 6.0, 1e-9),
        ("across_bottom", 24_000.0, 6.0417, 5e-5),
        ("across_bottom", 24_900.0, 6.0040, 5e-5),
        ("across_bottom", 25_500.0, 5.9804, 5e-5),
        ("across_top", 40_000.0, 4.5, 1e-9),
        ("across_top", 39_000.0, 4.4898, 5e-5),
        ("across_top", 40_200.0, 4.5020, 5e-5),
        ("series_top", 4_000.0, 6.0, 1e-9),
        ("series_bottom", 2_500.0, 4.5, 1e-9),
    ],
)
def test_worked_values(place: str, added: float, trip: float, within: float) -> None:
    assert float(trip_with(place, 2.5, 10e3, 10e3, added)) == pytest.approx(trip, abs=within)


@pytest.mark.parametrize(
    ("place", "wanted", "expected"),
    [("across_bottom", 6.0, 25e3), ("series_top", 6.0, 4e3), ("across_top", 4.5, 40e3), ("series_bottom", 4.5, 2.5e3)],
)
def test_worked_resistors(place: str, wanted: float, expected: float) -> None:
    assert float(added_resistance(place, 2.5, 10e3, 10e3, wanted)) == pytest.approx(expected, rel=1e-12)


@given(ratio=RATIO, bottom=OHM, reference=st.floats(0.3, 5.0), factor=st.floats(0.5, 2.0), place=st.sampled_from(PLACES))
def test_the_resistor_found_gives_the_trip_wanted_or_there_is_none(
    ratio: float, bottom: float, reference: float, factor: float, place: str
) -> None:
    top, trip = ratio * bottom, float(trip_voltage(reference, ratio, 1.0))
    wanted = factor * trip
    added = float(added_resistance(place, reference, top, bottom, wanted))
    if wanted > reference and wanted != trip and (wanted > trip) == (place in RAISING):
        assert added > 0
        assert float(trip_with(place, reference, top, bottom, added)) == pytest.approx(wanted, rel=1e-6)
    else:
        assert np.isnan(added)


def test_what_nothing_can_reach() -> None:
    """Limits: with its whole divider gone a controller lets go at its reference, never below."""
    for place in PLACES:
        assert np.isnan(added_resistance(place, 2.5, 10e3, 10e3, 2.5))
        assert np.isnan(added_resistance(place, 2.5, 10e3, 10e3, 2.0))
        assert np.isnan(added_resistance(place, 2.5, 10e3, 10e3, 5.0))
    assert float(trip_with("across_top", 2.5, 10e3, 10e3, 1e-9)) == pytest.approx(2.5)


def test_hardly_any_resistor_changes_nothing() -> None:
    """Limits: an endless one across a part, and none in series with it."""
    for place in PLACES:
        added = 1e15 if place.startswith("across") else 1e-9
        assert float(trip_with(place, 2.5, 10e3, 10e3, added)) == pytest.approx(5.0, abs=1e-9)


@pytest.mark.parametrize("place", PLACES)
def test_only_ratios_matter(place: str) -> None:
    """Limits: in units of one part the answer is in the same unit."""
    wanted = 6.0 if place in RAISING else 4.5
    in_ohm = added_resistance(place, 2.5, 10e3, 10e3, wanted)
    assert float(added_resistance(place, 2.5, 1.0, 1.0, wanted)) == pytest.approx(float(in_ohm) / 10e3, rel=1e-12)


def test_reference_and_trip_undo_each_other() -> None:
    reference = reference_voltage([5.0, 6.4], [10e3, 47e3], [10e3, 22e3])
    assert reference[0] == 2.5
    np.testing.assert_allclose(trip_voltage(reference, [10e3, 47e3], [10e3, 22e3]), [5.0, 6.4], rtol=1e-14)


def test_worked_sensitivities() -> None:
    """Worked by hand: 24.9 k across the bottom of 10 k over 10 k."""
    found = sensitivities("across_bottom", 10e3, 10e3, 24.9e3)
    np.testing.assert_allclose(found, [1.0, 0.5836, -0.4164, -0.1672], atol=5e-5)
    assert root_sum_square(found, [0.01] * 4) == pytest.approx(0.012418, abs=5e-7)


@pytest.mark.parametrize("place", PLACES)
def test_sensitivities_are_the_slopes(place: str) -> None:
    """Round trip: against small steps of each part."""
    parts = np.array([2.5, 33e3, 12e3, 18e3])
    found = sensitivities(place, *parts[1:])
    trip = trip_with(place, *parts)
    for index in range(4):
        moved = parts.copy()
        moved[index] *= 1 + 1e-6
        assert found[index] == pytest.approx(float((trip_with(place, *moved) / trip - 1) / 1e-6), abs=1e-5)


def through_bottom(reference: FloatArray, top: FloatArray, bottom: FloatArray, added: FloatArray) -> FloatArray:
    return trip_with("across_bottom", reference, top, bottom, added)


PARTS = (2.5, 10e3, 10e3, 24.9e3)
ONE_PERCENT = tuple(0.01 * part for part in PARTS)


def test_worked_worst_case() -> None:
    """Worked by hand, each part and the reference 1 % off."""
    assert worst_case(through_bottom, PARTS, ONE_PERCENT) == pytest.approx((5.8753, 6.1356), abs=5e-5)


def test_worked_worst_case_without_a_resistor_added() -> None:
    """Worked by hand: 1.01 × 2.5 V × (1 + 1.01 / 0.99), and the other way about."""
    assert worst_case(trip_voltage, PARTS[:3], ONE_PERCENT[:3]) == pytest.approx((4.9010, 5.1010), abs=5e-5)
    assert root_sum_square([1.0, 0.5, -0.5], [0.01] * 3) == pytest.approx(0.012247, abs=5e-7)


def test_worked_interval() -> None:
    """Worked apart, by drawing a million times: 5.923 to 6.085 V."""
    found = drawn_interval(through_bottom, PARTS, ONE_PERCENT, np.random.default_rng(7), draws=1_000_000)
    assert found == pytest.approx((5.923, 6.085), abs=1e-3)


def test_an_interval_of_one_rectangular_input_is_known_exactly() -> None:
    """Limits: the middle 95 % of a rectangle."""
    low, high = drawn_interval(lambda x: x, [10.0], [2.0], np.random.default_rng(1))
    assert (low, high) == pytest.approx((8.1, 11.9), abs=0.01)


@pytest.mark.parametrize("place", PLACES)
def test_the_interval_lies_inside_the_worst_case(place: str) -> None:
    def trip(reference: FloatArray, top: FloatArray, bottom: FloatArray, added: FloatArray) -> FloatArray:
        return trip_with(place, reference, top, bottom, added)

    parts = (1.2, 47e3, 12e3, 33e3)
    half = [0.05 * part for part in parts]
    worst = worst_case(trip, parts, half)
    drawn = drawn_interval(trip, parts, half, np.random.default_rng(3))
    assert worst[0] < drawn[0] < float(trip(*map(np.asarray, parts))) < drawn[1] < worst[1]


@pytest.mark.parametrize("place", PLACES)
def test_power_adds_up(place: str) -> None:
    """Limits: what all three resistors turn into heat is what the pack gives."""
    top, bottom, added = 47e3, 12e3, 33e3
    new = altered(place, top, bottom, added)
    total = 8.4**2 / float(new.top_ohm + new.bottom_ohm)
    tap = 8.4 * float(new.bottom_ohm / (new.top_ohm + new.bottom_ohm))
    current = 8.4 / float(new.top_ohm + new.bottom_ohm)
    of_top = (8.4 - tap) ** 2 / top if place != "series_top" else current**2 * top
    of_bottom = tap**2 / bottom if place != "series_bottom" else current**2 * bottom
    assert float(added_power(place, 8.4, top, bottom, added)) + of_top + of_bottom == pytest.approx(total, rel=1e-12)


def test_worked_power() -> None:
    """Worked by hand: 2.5 V across 24.9 k is 0.251 mW."""
    assert float(added_power("across_bottom", 6.00402, 10e3, 10e3, 24.9e3)) == pytest.approx(2.5**2 / 24.9e3, rel=1e-5)
