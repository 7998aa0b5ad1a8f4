"""Numbers and times as they are written (regression: the wordings were chosen here)."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from dashboard.theme import Measure, chance, clock, counted, interval, mah, minutes, percent, resistor, risk, temperature, volts
from tracker.domain.results import Estimate


def plain(text: str) -> str:
    """With ordinary spaces, to be readable in a test."""
    return text.replace("\u00a0", " ")


def estimate(value: float, low: float, high: float) -> Estimate:
    return Estimate(value=value, low=low, high=high, sd=(high - low) / 3.29)


@pytest.mark.parametrize(
    ("value", "low", "high", "measure", "written"),
    [
        (3.912, 3.832, 3.992, "charge", "3,910 ± 80 mAh"),
        (3.912, 3.612, 4.212, "charge", "3,900 ± 300 mAh"),
        (0.3124, 0.3100, 0.3148, "charge", "312 ± 2 mAh"),
        (0.84, 0.78, 0.90, "share", "84 ± 6 %"),
        (0.97, 0.88, 1.0, "share", "97 % (88 to 100 %)"),
        (3.071, 3.011, 3.131, "volts", "3.07 ± 0.06 V"),
        (3.071, 3.0709, 3.0711, "volts", "3.07 ± 0.01 V"),
        (1.0, 1.0, 1.0, "charge", "1,000 ± 1 mAh"),
        (0.0, 0.0, 0.0, "share", "0 ± 1 %"),
        (-0.0004, -0.03, 0.03, "charge", "0 ± 30 mAh"),
        (0.00614, 0.00572, 0.00656, "resistance", "6.1 ± 0.4 mΩ"),
        (0.1481, 0.1401, 0.1561, "resistance", "148 ± 8 mΩ"),
        (0.0213, 0.0163, 0.0263, "rate", "2.1 ± 0.5 %"),
        (1.12, 1.07, 1.17, "times", "1.12 ± 0.05 times"),
        (110.0, 68.0, 190.0, "runs", "110 runs (70 to 190 runs)"),
    ],
)
def test_an_interval_is_written_to_the_digits_it_is_worth(value: float, low: float, high: float, measure: Measure, written: str) -> None:
    assert plain(interval(estimate(value, low, high), measure)) == written


def test_voltages_have_two_decimals_and_charges_and_shares_none() -> None:
    assert (plain(volts(7.4)), plain(mah(3.9104)), plain(percent(0.805))) == ("7.40 V", "3,910 mAh", "80 %")


def test_a_number_is_never_parted_from_its_unit() -> None:
    assert " " not in volts(7.4) + mah(3.9) + percent(0.8) + minutes(600) + temperature(300) + interval(estimate(3.9, 3.8, 4.0), "charge")


@pytest.mark.parametrize(
    ("probability", "written"), [(0.0, "under 1 %"), (0.004, "under 1 %"), (0.45, "45 %"), (0.999, "over 99 %"), (1.0, "over 99 %")]
)
def test_a_chance_never_claims_certainty(probability: float, written: str) -> None:
    assert plain(chance(probability)) == written


@pytest.mark.parametrize(("time_s", "written"), [(40, "40 s"), (750, "12 min"), (7200, "2 h"), (259200, "3 days")])
def test_a_time_is_written_in_the_unit_a_person_would_use(time_s: float, written: str) -> None:
    assert plain(minutes(time_s)) == written


def test_times_are_shown_in_the_local_zone(monkeypatch: pytest.MonkeyPatch) -> None:
    import time

    monkeypatch.setenv("TZ", "Asia/Tokyo")
    time.tzset()
    try:
        assert plain(clock(datetime(2025, 6, 14, 20, 5, tzinfo=UTC))) == "Sun 15 Jun 2025, 05:05"
    finally:
        monkeypatch.undo()
        time.tzset()


def test_nouns_follow_their_number() -> None:
    assert (counted(1, "run"), counted(0, "run"), counted(1200, "run")) == ("1 run", "0 runs", "1,200 runs")


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0.0, "under 0.1 %"),
        (0.0009, "under 0.1 %"),
        (0.0068, "0.7 %"),
        (0.099, "9.9 %"),
        (0.0996, "10 %"),
        (0.55, "55 %"),
        (1.0, "over 99 %"),
    ],
)
def test_a_risk_has_a_decimal_while_it_is_small_and_is_never_called_none(probability: float, words: str) -> None:
    assert plain(risk(probability)) == words


@pytest.mark.parametrize(("ohm", "words"), [(0.47, "0.47 Ω"), (470, "470 Ω"), (4700, "4.7 kΩ"), (18700, "18.7 kΩ"), (2.2e6, "2.2 MΩ")])
def test_a_resistor_is_written_as_its_value_is_called(ohm: float, words: str) -> None:
    assert plain(resistor(ohm)) == words
