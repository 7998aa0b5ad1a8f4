"""Times as loggers write them: counted from the start, a clock, or a date with a clock; as seconds from the first."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tracker.intake.text import CellError, shown

if TYPE_CHECKING:
    # Half a second that only those wait for who read recordings.
    import pandas as pd

Floats = NDArray[np.float64]

TIME_WORDS = "seconds, milliseconds, minutes or hours from the start, a clock such as 0:12:03.5, or a date with a clock such as 2025-04-03T14:30:00.5"
_CLOCK = re.compile(r"^\s*(?:(\d{1,4}):)?(\d{1,3}):(\d{1,2}(?:[.,]\d+)?)\s*$")
_DATED = re.compile(r"^\s*(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})[T ,;]*(.*)$", re.IGNORECASE)
_UNIX = ((8e8, 5e9, 1.0), (8e11, 5e12, 1e-3), (8e14, 5e15, 1e-6), (8e17, 5e18, 1e-9))
"""Seconds, milli-, micro- and nanoseconds since 1970, of the years from 1995 to 2128."""
_FACTORS = {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0}
LONGEST_STEP_S = 15.0
"""No logger for a drive writes less often: a larger step of a time without a unit is taken for milliseconds."""
LONGEST_S = 6_000_000.0
"""As long as a run may be at the most."""
HALF_DAY_S = 43_200.0
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Times:
    """Seconds of each row, from whatever start; where that start lies, if it is told; the unit, and what was guessed."""

    time_s: Floats
    unit: str
    began: datetime | None = None
    """Aware, UTC: the moment of the first row."""
    doubts: list[str] = field(default_factory=list)


class BadTimeError(Exception):
    """Some row's time cannot be read; only raised and caught in this room."""

    def __init__(self, row: int, message: str) -> None:
        super().__init__(message)
        self.row = row
        self.message = message


def from_numbers(values: Floats, unit: str | None) -> Times:
    """Return times that are plain numbers."""
    first = float(values[0])
    since_1970 = next((factor for low, high, factor in _UNIX if low <= first <= high), None)
    if since_1970 is not None and unit in (None, "timestamp", "s", "ms") and not (unit == "s" and since_1970 != 1.0):
        began = datetime.fromtimestamp(round(first * since_1970, 6), UTC)
        return Times(_seconds(values, since_1970), "timestamp", began, ["The time was taken for a count since 1970 in UTC."])
    if unit in _FACTORS:
        return Times(_seconds(values, _FACTORS[unit]), unit)
    steps = np.diff(values)
    step = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    guess = "ms" if step > LONGEST_STEP_S else "s"
    words = {"ms": "milliseconds, as a reading would be rare otherwise", "s": "seconds"}[guess]
    return Times(_seconds(values, _FACTORS[guess]), guess, None, [f"The time has no unit; it was taken for {words}."])


def _seconds(values: Floats, factor: float) -> Floats:
    """From the first row, rounded once so that 0.1 s in the file are 0.1 s here."""
    with np.errstate(over="ignore", invalid="ignore"):  # what is beyond all bounds is refused, with its line, when the order is looked at
        whole = values - values[0]
        seconds = whole / round(1.0 / factor) if factor < 1.0 else whole * factor
        return np.asarray(np.round(seconds, 9), dtype=np.float64)


def from_texts(texts: pd.Series[str], dates: pd.Series[str] | None = None) -> Times:
    """Return times that are texts: a clock, or a date with a clock, the date perhaps in a column of its own."""
    first = str(texts.iloc[0])
    if dates is not None and not _DATED.match(first):
        return _dated(dates.str.strip() + " " + texts.str.strip())
    return _dated(texts) if _DATED.match(first) or "T" in first else _clock(texts)


def _clock(texts: pd.Series[str]) -> Times:
    parts = texts.str.extract(_CLOCK)
    missing = np.flatnonzero(parts[2].isna().to_numpy())
    if len(missing):
        row = int(missing[0])
        raise BadTimeError(row, f"{shown(str(texts.iloc[row]))} is not a time; allowed are {TIME_WORDS}.")
    doubts = []
    hours = parts[0].astype(float).to_numpy()
    if np.isnan(hours).all():
        doubts.append(f"The time was taken for minutes and seconds, as {shown(str(texts.iloc[0]).strip())} may also be hours and minutes.")
    seconds = parts[2].str.replace(",", ".", regex=False).astype(float).to_numpy()
    time_s = np.nan_to_num(hours) * 3600.0 + parts[1].astype(float).to_numpy() * 60.0 + seconds
    back = np.diff(time_s, prepend=time_s[0]) < -HALF_DAY_S
    if back.any():  # a clock that goes past midnight
        time_s = time_s + DAY_S * np.cumsum(back)
    return Times(np.asarray(np.round(time_s - time_s[0], 9)), "timestamp", None, doubts)


def _dated(texts: pd.Series[str]) -> Times:
    import pandas as pd

    doubts: list[str] = []
    stripped = texts.str.strip()
    match = _DATED.match(str(stripped.iloc[0]))
    if match is None or len(match[1]) == 4:
        slashed = stripped.str.replace("/", "-", regex=False) if match is not None and match[2] != "-" else stripped
        slashed = slashed.str.replace(".", "-", n=2, regex=False) if match is not None and match[2] == "." else slashed
        return _from_moments(*_parsed(slashed, stripped), doubts, sure=True)
    parts = stripped.str.extract(_DATED)
    day, month = (pd.to_numeric(parts[column], errors="coerce") for column in (0, 2))
    day_first, sure = True, True
    if (day > 12).any():
        day_first = True
    elif (month > 12).any():
        day_first = False
    elif match[2] == "/":
        sure = False
        doubts.append(f"{shown(str(stripped.iloc[0]))} may be read as different days; say when the run started.")
    year = parts[3].where(parts[3].str.len() == 4, "20" + parts[3].str.zfill(2))
    first, second = (0, 2) if day_first else (2, 0)
    ordered = year + "-" + parts[second].str.zfill(2) + "-" + parts[first].str.zfill(2) + "T" + parts[4].str.strip()
    return _from_moments(*_parsed(ordered, stripped), doubts, sure=sure)


def _parsed(texts: pd.Series[str], given: pd.Series[str]) -> tuple[NDArray[np.int64], datetime]:
    """Nanoseconds since 1970, and the first time: with a zone where offsets are written, else of the clock on the wall."""
    import pandas as pd

    plain = texts.str.replace(",", ".", regex=False)
    zoned = bool(re.search(r"(?:Z|[+-]\d{2}:?\d{2})$", str(plain.iloc[0]).strip(), re.IGNORECASE))
    found = pd.to_datetime(plain, format="ISO8601", errors="coerce", utc=zoned)
    missing = np.flatnonzero(found.isna().to_numpy())
    if len(missing):
        row = int(missing[0])
        raise BadTimeError(row, f"{shown(str(given.iloc[row]))} is not a time like the others; allowed are {TIME_WORDS}.")
    wall = found.dt.tz_convert("UTC").dt.tz_localize(None) if zoned else found
    # Nanoseconds do not reach the years far from now, so the first is taken as it was read.
    first = wall.iloc[0].to_pydatetime(warn=False)
    return wall.to_numpy().astype("datetime64[ns]").astype(np.int64), first.replace(tzinfo=UTC) if zoned else first


def _from_moments(moments: NDArray[np.int64], first: datetime, doubts: list[str], *, sure: bool) -> Times:
    time_s = np.round((moments - moments[0]) / 1e9, 9)
    began = _began(first, doubts) if sure else None
    return Times(np.asarray(time_s, dtype=np.float64), "timestamp", began, doubts)


def _began(clock: datetime, doubts: list[str]) -> datetime | None:
    """Return the moment of a time, local without a zone; none where clocks were changed, or in a year no logbook has."""
    from tracker.intake.times import moment

    try:
        return moment(clock.isoformat())
    except CellError as problem:
        doubts.append(f"{problem} Say when the run started.")
        return None


def in_order(time_s: Floats, lines: NDArray[np.int64]) -> tuple[Floats, list[str]]:
    """Return times that rise from row to row: rows of one time are spread until the next; BadTimeError where time goes back."""
    far = np.flatnonzero(~(np.abs(time_s) <= LONGEST_S))
    if len(far):
        row = int(far[0])
        raise BadTimeError(
            row,
            f"is {time_s[row]:,.10g} s after the start; allowed are up to {LONGEST_S:,.0f} s, as for a run. Look at the unit of the time.",
        )
    steps = np.diff(time_s)
    back = np.flatnonzero(steps < 0)
    if len(back):
        row = int(back[0]) + 1
        raise BadTimeError(
            row,
            f"goes back from {time_s[row - 1]:,.10g} s to {time_s[row]:,.10g} s after the start; allowed are times in the order taken: "
            "a file holds one recording, so cut it in two here.",
        )
    if len(steps) == 0 or (steps > 0).all():
        return time_s, []
    if not (steps > 0).any():
        raise BadTimeError(1, "is the same in every row; allowed are times that rise.")
    starts = np.flatnonzero(np.concatenate([[True], steps > 0]))
    sizes = np.diff(np.append(starts, len(time_s)))
    levels = time_s[starts]
    widths = np.diff(levels)
    # After the last time nothing follows: its rows come as close as those before them.
    rate = float(np.median(widths / sizes[:-1]))
    widths = np.append(widths, sizes[-1] * rate)
    place = np.arange(len(time_s)) - np.repeat(starts, sizes)
    spread = np.repeat(levels, sizes) + place * np.repeat(widths / sizes, sizes)
    repeated = int((steps == 0).sum())
    line = int(lines[int(np.flatnonzero(steps == 0)[0]) + 1])
    words = f"{repeated:,} rows have the same time as the row before (first in line {line:,}); they were spread evenly until the next time."
    return np.asarray(np.round(spread, 9)), [words]
