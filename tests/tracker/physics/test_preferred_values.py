"""Preferred values against what is printed of IEC 60063, and against an independent library of them."""

from __future__ import annotations

import eseries
import numpy as np
import pytest

from tracker.physics.preferred_values import SERIES, decade, nearest_preferred, preferred_values

PRINTED = {
    "E12": "10 12 15 18 22 27 33 39 47 56 68 82",
    "E24": "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91",
    "E48": "100 105 110 115 121 127 133 140 147 154 162 169 178 187 196 205 215 226 237 249 261 274 287 301 316 332 348 365 383 402 422 "
    "442 464 487 511 536 562 590 619 649 681 715 750 787 825 866 909 953",
    "E96": "100 102 105 107 110 113 115 118 121 124 127 130 133 137 140 143 147 150 154 158 162 165 169 174 178 182 187 191 196 200 205 "
    "210 215 221 226 232 237 243 249 255 261 267 274 280 287 294 301 309 316 324 332 340 348 357 365 374 383 392 402 412 422 432 442 453 "
    "464 475 487 499 511 523 536 549 562 576 590 604 619 634 649 665 681 698 715 732 750 768 787 806 825 845 866 887 909 931 953 976",
}


@pytest.mark.parametrize("series", PRINTED)
def test_published_values(series: str) -> None:
    """IEC 60063; E48 is every second value of E96."""
    assert list(decade(series)) == [int(value) for value in PRINTED[series].split()]


def test_the_value_of_e192_that_the_rule_misses() -> None:
    """Published: 920, where the rule gives 919 (IEC 60063)."""
    assert 920 in decade("E192")
    assert 919 not in decade("E192")


@pytest.mark.parametrize("series", SERIES)
def test_an_independent_library_has_the_same(series: str) -> None:
    theirs = eseries.ESeries[series]
    assert list(decade(series)) == [int(value) for value in eseries.series(theirs)]
    np.testing.assert_allclose(preferred_values(series, 1.0, 9.99e6), list(eseries.erange(theirs, 1.0, 9.99e6)), rtol=1e-9)
    for ideal in np.geomspace(1.2345, 8.0123e6, 400):
        ours = nearest_preferred(ideal, series, 1)
        assert ours[0] == pytest.approx(eseries.find_less_than(theirs, ideal), rel=1e-9)
        assert ours[1] == pytest.approx(eseries.find_greater_than_or_equal(theirs, ideal), rel=1e-9)


@pytest.mark.parametrize(
    ("ideal", "series", "expected"),
    [
        (25_000.0, "E96", [24_900.0, 25_500.0]),  # published series: the neighbours of 25.0 k
        (25_000.0, "E24", [24_000.0, 27_000.0]),
        (24_000.0, "E24", [22_000.0, 24_000.0]),  # one that is preferred is its own neighbour
        (24_000.0 * (1 + 1e-15), "E24", [22_000.0, 24_000.0]),
        (99.0, "E12", [82.0, 100.0]),
    ],
)
def test_neighbours(ideal: float, series: str, expected: list[float]) -> None:
    assert nearest_preferred(ideal, series, 1).tolist() == expected


def test_the_ends_of_what_parts_there_are() -> None:
    assert nearest_preferred(0.1, "E12", 3).tolist() == [0.1, 0.12, 0.15]
    assert nearest_preferred(21e6, "E12", 3).tolist() == [12e6, 15e6, 18e6, 22e6]


def test_each_series_is_twice_as_fine_and_exact_in_decimal() -> None:
    assert [len(decade(series)) for series in SERIES] == [6, 12, 24, 48, 96, 192]
    assert repr(preferred_values("E24", 4.6, 4.8)[0].item()) == "4.7"
    assert preferred_values("E24").tolist() == sorted(set(preferred_values("E24").tolist()))
