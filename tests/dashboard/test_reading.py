"""Each browser's own way of writing numbers, degrees and days."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from typing import Any

import pytest
from flask import Flask

from dashboard.app import create_app
from dashboard.figures.over_time import tick_words
from dashboard.figures.template import blank_figure
from dashboard.reading import COOKIE, USUAL, Reading, read_from
from dashboard.theme import NB, clock, counted, date_words, interval, mah, number, temperature, unbroken, volts
from tests.dashboard.fakes import club_services, guess


@contextmanager
def asked_by(cookie: str) -> Iterator[None]:
    with Flask("reader").test_request_context(headers={"Cookie": f"{COOKIE}={cookie}"}):
        yield


def test_as_usual_where_nobody_asks() -> None:
    assert (volts(7.4), mah(3.91), temperature(298.15)) == (f"7.40{NB}V", f"3,910{NB}mAh", f"25{NB}°C")


def test_a_minus_sign_is_one_and_nothing_is_never_less_than_nothing() -> None:
    assert [number(value, 1) for value in (-0.52, -0.04, 0.0)] == ["\u22120.5", "0.0", "0.0"]


def test_with_commas() -> None:
    with asked_by("c-comma-words"):
        assert (volts(1234.5), mah(3.91), counted(1200, "run")) == (f"1.234,50{NB}V", f"3.910{NB}mAh", "1.200 runs")
        assert interval(guess(3.91, 0.08), "charge") == f"3.910{NB}±{NB}80{NB}mAh"
        assert blank_figure().layout.separators == ",."


def test_with_spaces_between_thousands() -> None:
    with asked_by("c-space-words"):
        assert mah(3.91) == f"3\u202f910{NB}mAh"


def test_in_fahrenheit() -> None:
    with asked_by("f-point-words"):
        assert (temperature(273.15), temperature(298.15)) == (f"32{NB}°F", f"77{NB}°F")
        assert unbroken("Not below 0 °C and not above 40 °C.") == f"Not below 32{NB}°F and not above 104{NB}°F."
        assert unbroken("Keep it at −10 to 20 °C.") == f"Keep it at 14 to 68{NB}°F."


def test_days_as_iso() -> None:
    with asked_by("c-point-iso"):
        assert date_words(date(2025, 6, 14)) == "2025-06-14"
        assert clock(datetime(2025, 6, 14, 12, tzinfo=UTC)).startswith("Sat 2025-06-14, ")
        assert "%Y-%m-%d" in str(tick_words()[0]["value"])


def test_numbers_in_sentences_follow_and_names_do_not() -> None:
    with asked_by("c-comma-words"):
        said = unbroken("Pack 2.1 lets go at 5.06 ± 0.04 V after 3,910 mAh, in 2.5 to 7.5 % of runs.")
        assert said == f"Pack 2.1 lets go at 5,06 ± 0,04{NB}V after 3.910{NB}mAh, in 2,5 to 7,5{NB}% of runs."


@pytest.mark.parametrize("cookie", ["", "x", "f", "f-comma", "c-comma-words-more", "<script>-comma-iso", "-" * 400])
def test_any_cookie_is_read_or_left(cookie: str) -> None:
    assert read_from(cookie).degrees in {"c", "f"}
    assert read_from("x-y-z") == USUAL


def test_the_choice_is_kept_by_the_door_and_used_on_the_pages() -> None:
    app: Any = create_app(club_services())
    client = app.server.test_client()
    answer = client.post("/units/keep", data={"degrees": "f", "numbers": "comma", "days": "nonsense"})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/units?kept=yes")
    assert read_from(client.get_cookie(COOKIE).value) == Reading(degrees="f", numbers="comma", days="words")
    assert client.post("/units/keep", data={"degrees": "c"}, headers={"Origin": "http://elsewhere.example"}).status_code == 403
