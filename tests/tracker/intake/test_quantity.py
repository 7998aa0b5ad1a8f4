"""Resistances as people type them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.intake.numbers import Limits
from tracker.intake.quantity import LARGEST_OHM, quantity, resistance
from tracker.intake.text import CellError


@pytest.mark.parametrize(
    ("text", "ohm"),
    [  # published: the letter code of IEC 60062, and the plain ways people write
        ("4k7", 4700.0),
        ("0R47", 0.47),
        ("R47", 0.47),
        ("2M2", 2.2e6),
        ("10k", 10e3),
        ("10K", 10e3),
        ("470", 470.0),
        ("470R", 470.0),
        ("24.9k", 24_900.0),
        ("24,9k", 24_900.0),
        ("1M", 1e6),
        ("1e4", 1e4),
        ("1.2e3 ohm", 1200.0),
        (" 10 kΩ ", 10e3),
        ("10 kOhm", 10e3),
        (".5", 0.5),
    ],
)
def test_read(text: str, ohm: float) -> None:
    assert resistance(text) == ohm


@pytest.mark.parametrize(
    "text", ["", "k", "-10k", "10kk", "4k7k", "0", "0R0", "10m", "2m2", "1e99", "inf", "nan", "1 000", "10k7.5", "１０k", "1001M"]
)
def test_refused_with_what_is_allowed(text: str) -> None:
    with pytest.raises(CellError, match=r"allowed are resistances above 0 up to 1000 MΩ, such as 10k, 4k7, 0R47, 2M2 or 470\.$"):
        resistance(text)


def test_a_small_m_is_not_taken_for_millions() -> None:
    with pytest.raises(CellError, match="milliohms; write M for megohms"):
        resistance("2m2")


@given(st.text(max_size=12))
def test_any_text_is_a_resistance_or_is_refused(text: str) -> None:
    try:
        value = resistance(text)
    except CellError:
        return
    assert 0 < value <= LARGEST_OHM


def test_numbers() -> None:
    limits = Limits(0, 1000, "V", low_excluded=True)
    assert (quantity("6.4", limits), quantity("6,4", limits), quantity("6", limits)) == (6.4, 6.4, 6.0)
    for text in ("0", "-1", "x", "", "1001"):
        with pytest.raises(CellError, match="allowed are numbers above 0 up to 1000 V"):
            quantity(text, limits)
