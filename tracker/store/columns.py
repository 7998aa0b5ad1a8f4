"""Kinds of column that refuse what cannot be, and the shapes of column the tables share."""

from __future__ import annotations

import json
import math
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Annotated, Any

from sqlalchemy import Date, DateTime, Double, Integer, Text
from sqlalchemy.engine import Dialect
from sqlalchemy.exc import DontWrapMixin
from sqlalchemy.orm import mapped_column
from sqlalchemy.types import TypeDecorator, TypeEngine

from tracker.errors import InputError

LONGEST_NAME = 200
HIGHEST_V = 1000.0
HIGHEST_CELL_OHM = 100.0
MOST_IN_SERIES = 100
_WHOLE_NUMBER_END = 2**31


class ImpossibleValueError(InputError, DontWrapMixin):
    """A value that cannot be, refused on its way into the database."""


class Utc(TypeDecorator[datetime]):
    """A moment, stored in UTC to the microsecond; one without a time zone is refused."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return what is to be stored for a value, or refuse it."""
        if value is None:
            return None
        if value.tzinfo is None or value.utcoffset() is None:
            raise ImpossibleValueError(f"the time {value} has no time zone; only times that carry one can be stored.")
        try:
            value = value.astimezone(UTC)
        except OverflowError as error:
            raise ImpossibleValueError(f"the time {value} is beyond the calendar; years 1900 to 2199 can be stored.") from error
        # SQLite keeps no zone: everything in the file is UTC.
        return value.replace(tzinfo=None) if dialect.name == "sqlite" else value

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return the value that was stored."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Finite(TypeDecorator[float]):
    """A number; SQLite would turn "not a number" into "not recorded" without a word, so it is refused here."""

    impl = Double
    cache_ok = True

    def process_bind_param(self, value: float | None, dialect: Dialect) -> float | None:
        """Return what is to be stored for a value, or refuse it."""
        if value is None or math.isfinite(value):
            return value
        raise ImpossibleValueError(f"{value} is not a number that can be stored.")


class Whole(TypeDecorator[int]):
    """A whole number of ordinary size."""

    impl = Integer
    cache_ok = True

    def process_bind_param(self, value: int | None, dialect: Dialect) -> int | None:
        """Return what is to be stored for a value, or refuse it."""
        if value is None:
            return None
        if value != int(value) or not -_WHOLE_NUMBER_END <= value < _WHOLE_NUMBER_END:
            raise ImpossibleValueError(f"{value} is not a whole number that can be stored.")
        return int(value)


class Words(TypeDecorator[str]):
    """Any text both kinds of database can hold: all but the NUL character and halves of characters."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """Return what is to be stored for a value, or refuse it."""
        if value is None:
            return None
        if "\0" in value:
            raise ImpossibleValueError(f"the text {value!r} holds a NUL character (code 0), which cannot be stored; take it out.")
        if not value.isascii():
            try:
                value.encode()
            except UnicodeEncodeError as error:
                raise ImpossibleValueError(f"the text {value!r} holds half a character, which cannot be stored; type it anew.") from error
        return value


class NameWords(Words):
    """A name or key: sorted by its characters' codes, so that every database lists names in the same order."""

    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Return the plain kind of column below it."""
        return Text(collation="C") if dialect.name == "postgresql" else Text()


@lru_cache(maxsize=65536)  # readings are written to hundredths, so the same few thousand come again and again
def _numbers_in(text: str) -> tuple[float, ...]:
    return tuple(json.loads(text))


class Numbers(TypeDecorator[tuple[float, ...]]):
    """A few numbers above 0 in one cell of a row, kept as compact text; no number at all is kept as "not recorded"."""

    impl = Text
    cache_ok = True

    def __init__(self, highest: float) -> None:
        super().__init__()
        self.highest = highest

    def process_bind_param(self, value: tuple[float, ...] | None, dialect: Dialect) -> str | None:
        """Return what is to be stored for a value, or refuse it."""
        if not value:
            return None
        if len(value) > MOST_IN_SERIES:
            raise ImpossibleValueError(f"{len(value)} numbers were given for one reading; at most {MOST_IN_SERIES} can be stored.")
        for number in value:
            if not 0 < number <= self.highest:
                raise ImpossibleValueError(f"{number} cannot be a reading; allowed is above 0 up to {self.highest:g}.")
        return json.dumps([float(number) for number in value], separators=(",", ":"), allow_nan=False)

    def process_result_value(self, value: str | None, dialect: Dialect) -> tuple[float, ...]:
        """Return the value that was stored."""
        return () if value is None else _numbers_in(value)


Key = Annotated[int, mapped_column(Integer, primary_key=True)]
Name = Annotated[str, mapped_column(NameWords)]
Notes = Annotated[str, mapped_column(Words, default="")]
Number = Annotated[float, mapped_column(Finite)]
MaybeNumber = Annotated[float | None, mapped_column(Finite)]
MaybeWord = Annotated[str | None, mapped_column(NameWords)]
Count = Annotated[int, mapped_column(Whole)]
Moment = Annotated[datetime, mapped_column(Utc)]
MaybeDay = Annotated[date | None, mapped_column(Date)]
Voltages = Annotated[tuple[float, ...], mapped_column(Numbers(HIGHEST_V), nullable=True)]
Resistances = Annotated[tuple[float, ...], mapped_column(Numbers(HIGHEST_CELL_OHM), nullable=True)]
