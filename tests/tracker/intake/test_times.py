"""Limits: which times and days are read, which are refused and in what words; daylight saving."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tracker.intake.conftest import SetZone
from tracker.intake.text import CellError
from tracker.intake.times import day, moment, moment_text

TIME_ALLOWED = "allowed is a day and a time such as 2025-04-03T14:30 (local time) or 2025-04-03T12:30Z."
DAY_ALLOWED = "allowed is a day such as 2025-04-03."


def utc(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=UTC)  # type: ignore[misc,arg-type]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2025-04-03T14:30Z", utc(2025, 4, 3, 14, 30)),
        ("2025-04-03t14:30z", utc(2025, 4, 3, 14, 30)),
        ("2025-04-03 14:30:05Z", utc(2025, 4, 3, 14, 30, 5)),
        ("2025-04-03T14:30:05.25+02:00", utc(2025, 4, 3, 12, 30, 5, 250000)),
        ("2025-04-03T14:30:05,25-0330", utc(2025, 4, 3, 18, 0, 5, 250000)),
        ("2025-04-03T23:30-02", utc(2025, 4, 4, 1, 30)),
        ("20250403T143005Z", utc(2025, 4, 3, 14, 30, 5)),
    ],
)
def test_times_with_an_offset(text: str, expected: datetime) -> None:
    assert moment(text) == expected
    assert moment(text).tzinfo is UTC


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("45413.604", "'45413.604' looks like a spreadsheet's own count of days; "),
        ("45413,604", "'45413,604' looks like a spreadsheet's own count of days; "),
        ("03/04/2025 14:30", "'03/04/2025 14:30' may be read as different days; write year, month, day: "),
        ("4/3/25 2:30 PM", "'4/3/25 2:30 PM' may be read as different days; write year, month, day: "),
        ("03.04.2025 14:30", "'03.04.2025 14:30' may be read as different days; write year, month, day: "),
        ("2025/04/03 14:30", "'2025/04/03 14:30' may be read as different days; write year, month, day: "),
        ("2025-04-03", "'2025-04-03' is a day without a time; "),
        ("2025-02-30T10:00Z", "'2025-02-30T10:00Z' is not in the calendar or on the clock; "),
        ("2025-04-03T24:30Z", "'2025-04-03T24:30Z' is not in the calendar or on the clock; "),
        ("1899-12-31T10:00Z", "'1899-12-31T10:00Z' is not in the years 1900 to 2199; "),
        ("2199-12-31T23:59-05:00", "'2199-12-31T23:59-05:00' is not in the years 1900 to 2199 in UTC; "),
        ("9999-12-31T23:59-05:00", "'9999-12-31T23:59-05:00' is not in the years 1900 to 2199; "),
        ("2025-04-03T9:30", "'2025-04-03T9:30' is not a time; "),
        ("yesterday", "'yesterday' is not a time; "),
        ("1743690600", "'1743690600' is not a time; "),
        ("2025-W14-4T10:00", "'2025-W14-4T10:00' is not a time; "),
    ],
)
def test_what_is_no_time(text: str, problem: str) -> None:
    with pytest.raises(CellError) as caught:
        moment(text)
    assert str(caught.value) == problem + TIME_ALLOWED


@pytest.mark.parametrize(("text", "expected"), [("2025-04-03", date(2025, 4, 3)), ("20250403", date(2025, 4, 3))])
def test_days(text: str, expected: date) -> None:
    assert day(text) == expected


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("45413", "'45413' looks like a spreadsheet's own count of days; "),
        ("03/04/2025", "'03/04/2025' may be read as different days; write year, month, day: "),
        ("04/03/2025", "'04/03/2025' may be read as different days; write year, month, day: "),
        ("3.4.25", "'3.4.25' may be read as different days; write year, month, day: "),
        ("2025-04-03T10:00", "'2025-04-03T10:00' is a day with a time; write the day alone: "),
        ("2023-02-29", "'2023-02-29' is not in the calendar; "),
        ("1850-01-01", "'1850-01-01' is not in the years 1900 to 2199; "),
        ("99999999", "'99999999' is not a day; "),
        ("spring", "'spring' is not a day; "),
    ],
)
def test_what_is_no_day(text: str, problem: str) -> None:
    with pytest.raises(CellError) as caught:
        day(text)
    assert str(caught.value) == problem + DAY_ALLOWED


def test_without_an_offset_it_is_local_time(set_zone: SetZone) -> None:
    set_zone("Europe/Berlin")
    assert moment("2025-01-15T14:30") == utc(2025, 1, 15, 13, 30)
    assert moment("2025-07-15T14:30") == utc(2025, 7, 15, 12, 30)
    set_zone("America/St_Johns")
    assert moment("2025-01-15T14:30") == utc(2025, 1, 15, 18, 0)


def test_an_offset_counts_whatever_the_machine_thinks(set_zone: SetZone) -> None:
    set_zone("Pacific/Auckland")
    assert moment("2025-01-15T14:30+01:00") == utc(2025, 1, 15, 13, 30)


def test_a_time_that_came_twice_must_say_which(set_zone: SetZone) -> None:
    set_zone("Europe/Berlin")
    with pytest.raises(CellError) as caught:
        moment("2025-10-26T02:30")
    assert str(caught.value) == (
        "'2025-10-26T02:30' came twice here, as the clocks were set back; "
        "write 2025-10-26T02:30:00+02:00 for the first time or 2025-10-26T02:30:00+01:00 for the second."
    )
    assert moment("2025-10-26T02:30:00+02:00") == utc(2025, 10, 26, 0, 30)
    assert moment("2025-10-26T02:30:00+01:00") == utc(2025, 10, 26, 1, 30)
    assert moment("2025-10-26T01:59") == utc(2025, 10, 25, 23, 59)
    assert moment("2025-10-26T03:00") == utc(2025, 10, 26, 2, 0)


def test_a_time_that_never_came_is_refused(set_zone: SetZone) -> None:
    set_zone("America/New_York")
    with pytest.raises(CellError) as caught:
        moment("2025-03-09 02:30")
    assert str(caught.value) == (
        "'2025-03-09 02:30' never came here, as the clocks were set forward past it; "
        "correct it, or add the offset from UTC, as in 2025-03-09T02:30:00-05:00."
    )
    assert moment("2025-03-09T01:59") == utc(2025, 3, 9, 6, 59)
    assert moment("2025-03-09T03:00") == utc(2025, 3, 9, 7, 0)


Years = st.datetimes(min_value=datetime(1900, 1, 3), max_value=datetime(2199, 12, 29))  # noqa: DTZ001  hypothesis adds the zone
Zones = st.integers(-23 * 60, 23 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))


@given(Years, Zones)
def test_round_trip(time: datetime, zone: timezone) -> None:
    aware = time.replace(tzinfo=zone)
    assert moment(moment_text(aware)) == aware
