"""Times and days in cells: ISO 8601 only, because 03/04/2025 is a different day to different people."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta

from tracker.intake.text import CellError, shown

_TIME = re.compile(
    r"[0-9]{4}-?[0-9]{2}-?[0-9]{2}[Tt ][0-9]{2}(?::?[0-9]{2}(?::?[0-9]{2}(?:[.,][0-9]{1,9})?)?)?"
    r"(?P<offset>[Zz]|[+-][0-9]{2}(?::?[0-9]{2}(?::?[0-9]{2})?)?)?"
)
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}|[0-9]{8}")
_SERIAL = re.compile(r"[0-9]{1,6}([.,][0-9]+)?")
_SLASHED = re.compile(r"[0-9]{1,4}[./-][0-9]{1,2}[./-][0-9]{1,4}.*", re.DOTALL)

TIME_WORDS = "a day and a time such as 2025-04-03T14:30 (local time) or 2025-04-03T12:30Z"
DAY_WORDS = "a day such as 2025-04-03"
FIRST_YEAR, LAST_YEAR = 1900, 2199
_YEARS = f"the years {FIRST_YEAR} to {LAST_YEAR}"


def moment(text: str) -> datetime:
    """Return the time in UTC; one without an offset is this machine's local time."""
    match = _TIME.fullmatch(text)
    if match is None:
        raise CellError(_why_no_time(text))
    try:
        found = datetime.fromisoformat(text.upper())
    except ValueError as error:
        raise CellError(f"{shown(text)} is not in the calendar or on the clock; allowed is {TIME_WORDS}.") from error
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise CellError(f"{shown(text)} is not in {_YEARS}; allowed is {TIME_WORDS}.")
    in_utc = found.astimezone(UTC) if match["offset"] else _from_local(found, text)
    if not FIRST_YEAR <= in_utc.year <= LAST_YEAR:
        raise CellError(f"{shown(text)} is not in {_YEARS} in UTC; allowed is {TIME_WORDS}.")
    return in_utc


def _from_local(found: datetime, text: str) -> datetime:
    try:
        first = found.astimezone()
        second = found.replace(fold=1).astimezone()
    except (OSError, OverflowError, ValueError) as error:
        raise CellError(
            f"{shown(text)} cannot be placed in this machine's time zone; add the offset, as in 2025-04-03T14:30+02:00."
        ) from error
    if first.utcoffset() != second.utcoffset():
        raise CellError(_why_shifted(found, text, first, second))
    return first.astimezone(UTC)


def _why_shifted(found: datetime, text: str, first: datetime, second: datetime) -> str:
    at = found.isoformat()
    # Clocks are set back from the larger offset to the smaller, and forward from the smaller to the larger.
    small, large = sorted((first, second), key=lambda time: time.utcoffset() or timedelta(0))
    if first.replace(tzinfo=None) == found:
        return (
            f"{shown(text)} came twice here, as the clocks were set back; "
            f"write {at}{_offset(large)} for the first time or {at}{_offset(small)} for the second."
        )
    return (
        f"{shown(text)} never came here, as the clocks were set forward past it; "
        f"correct it, or add the offset from UTC, as in {at}{_offset(small)}."
    )


def _offset(time: datetime) -> str:
    offset = time.utcoffset() or timedelta(0)
    minutes = abs(offset) // timedelta(minutes=1)
    return f"{'-' if offset < timedelta(0) else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


def _why_no_time(text: str) -> str:
    if _DAY.fullmatch(text):
        return f"{shown(text)} is a day without a time; allowed is {TIME_WORDS}."
    if _SERIAL.fullmatch(text):
        return f"{shown(text)} looks like a spreadsheet's own count of days; allowed is {TIME_WORDS}."
    if _SLASHED.fullmatch(text) and not re.match(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return f"{shown(text)} may be read as different days; write year, month, day: allowed is {TIME_WORDS}."
    return f"{shown(text)} is not a time; allowed is {TIME_WORDS}."


def day(text: str) -> date:
    """Return the day."""
    if not _DAY.fullmatch(text) or (len(text) == 8 and not "19" <= text[:2] <= "21"):
        raise CellError(_why_no_day(text))
    try:
        found = date.fromisoformat(text)
    except ValueError as error:
        raise CellError(f"{shown(text)} is not in the calendar; allowed is {DAY_WORDS}.") from error
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise CellError(f"{shown(text)} is not in {_YEARS}; allowed is {DAY_WORDS}.")
    return found


def _why_no_day(text: str) -> str:
    if _TIME.fullmatch(text):
        return f"{shown(text)} is a day with a time; write the day alone: allowed is {DAY_WORDS}."
    if _SERIAL.fullmatch(text):
        return f"{shown(text)} looks like a spreadsheet's own count of days; allowed is {DAY_WORDS}."
    if _SLASHED.fullmatch(text) and not re.match(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return f"{shown(text)} may be read as different days; write year, month, day: allowed is {DAY_WORDS}."
    return f"{shown(text)} is not a day; allowed is {DAY_WORDS}."


def moment_text(time: datetime) -> str:
    """Return a time in UTC as ISO 8601 with its offset."""
    return time.astimezone(UTC).isoformat()


def day_text(found: date) -> str:
    """Return a day as ISO 8601."""
    return found.isoformat()
