"""Kinds of cell: how one is read, what is allowed in it, and how it is written back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from functools import partial
from typing import Any, Protocol

from tracker.intake import numbers, text, times
from tracker.intake.numbers import DecimalMark, Limits
from tracker.intake.text import CellError
from tracker.units import ZERO_CELSIUS_K

Read = Callable[[str], Any]
"""Turns the text of a cell that is not empty into a value, or raises CellError."""

_MOST_REMEMBERED = 20_000
"""Values repeat a great deal; this many texts of a column are read once only."""

_MINUTE_S = 60
_ZERO_CELSIUS_K = Decimal(repr(ZERO_CELSIUS_K))


class Cell(Protocol):
    """What a column's cells are."""

    @property
    def words(self) -> str:
        """What is allowed."""
        ...

    @property
    def limits(self) -> Limits | None:
        """Of its numbers, if it holds any."""
        ...

    @property
    def exact(self) -> bool:
        """Whether blanks at its ends belong to it."""
        ...

    def reader(self, mark: DecimalMark) -> Read:
        """Return what reads the cells of one file."""
        ...

    def write(self, value: Any) -> str:
        """Return the text of a value that is recorded."""
        ...


class WordCell:
    """A cell of words."""

    limits: Limits | None = None

    def __init__(self, read: Read, words: str, write: Callable[[Any], str] = str, *, exact: bool = False, remember: bool = False) -> None:
        self.words = words
        self.exact = exact
        self.write = write
        self._read = read
        self._remember = remember

    def reader(self, mark: DecimalMark) -> Read:
        """Return what reads the cells of one file."""
        return _remembering(self._read) if self._remember else self._read


class KindCell:
    """A cell that holds one of a few words."""

    limits: Limits | None = None
    exact = False

    def __init__(self, choices: Callable[[], Sequence[str]]) -> None:
        self._choices = choices

    @property
    def words(self) -> str:
        """The words that are allowed."""
        return text.either(self._choices())

    def reader(self, mark: DecimalMark) -> Read:
        """Return what reads the cells of one file."""
        return _remembering(partial(text.one_of, allowed=self._choices()))

    def write(self, value: str) -> str:
        """Return the word."""
        return value


class NumberCell:
    """A cell that holds a number in the unit people write, which may differ from the one the code computes with.

    Parameters
    ----------
    limits : Limits
        In the unit people write.
    convert : Callable
        From the digits with a decimal point to the value.
    write : Callable
        From the value to digits that `convert` turns into the same value.
    """

    exact = False

    def __init__(self, limits: Limits, convert: Callable[[str], Any] = float, write: Callable[[Any], str] = numbers.number_text) -> None:
        self.limits: Limits | None = limits
        self.words = limits.words
        self.write = write
        self._limits = limits
        self._convert = convert

    def reader(self, mark: DecimalMark) -> Read:
        """Return what reads the cells of one file."""
        limits, convert = self._limits, self._convert

        def read(given: str) -> Any:
            digits = mark.with_point(given, limits)
            value = numbers.bounded(digits, limits, given)
            return value if convert is float else convert(digits)

        return _remembering(read)


class ListCell:
    """A cell that holds numbers separated by blanks.

    Parameters
    ----------
    each : NumberCell
        What each number is.
    most : int
        How many there may be.
    several : Limits or None
        Narrower limits where there are several numbers.
    """

    exact = False

    def __init__(self, each: NumberCell, words: str, *, most: int, several: Limits | None = None) -> None:
        self.limits = each.limits
        self.words = words
        self._each = each
        self._most = most
        self._several = several

    def reader(self, mark: DecimalMark) -> Read:
        """Return what reads the cells of one file."""
        read_one, most, several = self._each.reader(mark), self._most, self._several

        def read(given: str) -> tuple[Any, ...]:
            items = given.split()
            if len(items) > most:
                raise CellError(f"{len(items)} numbers are given; allowed are up to {most}.")
            values = tuple([read_one(item) for item in items])
            if several is not None and len(values) > 1:
                for item, value in zip(items, values, strict=True):
                    if not several.hold(value):
                        raise CellError(
                            f"{text.shown(item)} is out of range for one cell; several numbers are the cells one by one, "
                            f"and for each allowed are {several.words}; the pack's total is one number alone."
                        )
            return values

        return read

    def write(self, value: Sequence[Any]) -> str:
        """Return the numbers separated by blanks."""
        return " ".join([self._each.write(item) for item in value])


def _remembering(read: Read) -> Read:
    remembered: dict[str, Any] = {}

    def remember(given: str) -> Any:
        try:
            return remembered[given]
        except KeyError:
            pass
        value = read(given)
        if len(remembered) < _MOST_REMEMBERED:
            remembered[given] = value
        return value

    return remember


def number(low: float, high: float, unit: str = "", *, above: bool = False) -> NumberCell:
    """A number kept in the unit it is written in."""
    return NumberCell(Limits(low, high, unit, low_excluded=above))


def whole(low: int, high: int) -> NumberCell:
    """A whole number."""
    return NumberCell(Limits(low, high, "", whole=True), lambda digits: int(Decimal(digits)), str)


def milli(low: float, high: float, unit: str, *, above: bool = False) -> NumberCell:
    """A number written in thousandths of the unit it is kept in."""
    return NumberCell(
        Limits(low, high, unit, low_excluded=above), partial(numbers.scaled, power=-3), partial(numbers.scaled_text, power=-3)
    )


def minutes(low: float, high: float, *, above: bool = False) -> NumberCell:
    """A number of minutes, kept in seconds."""
    return NumberCell(
        Limits(low, high, "min", low_excluded=above),
        partial(numbers.multiplied, factor=_MINUTE_S),
        partial(numbers.multiplied_text, factor=_MINUTE_S),
    )


def celsius(low: float, high: float) -> NumberCell:
    """A temperature in degrees Celsius, kept in kelvin."""
    return NumberCell(
        Limits(low, high, "°C"), partial(numbers.shifted, offset=_ZERO_CELSIUS_K), partial(numbers.shifted_text, offset=_ZERO_CELSIUS_K)
    )


def name() -> WordCell:
    """The name of a pack, vehicle or controller."""
    return WordCell(text.name, f"a name of 1 to {text.LONGEST_NAME} characters on one line", remember=True)


def names() -> WordCell:
    """Names separated by blanks."""
    return WordCell(
        text.split_names, "names separated by blanks, one that holds a blank in double quotation marks", text.join_names, remember=True
    )


def notes() -> WordCell:
    """Any words, kept exactly as they stand."""
    return WordCell(text.notes, f"any words, up to {text.LONGEST_NOTES} characters", exact=True)


def yes_or_no() -> WordCell:
    """Yes or no."""
    return choice({"yes": True, "no": False})


def choice(meanings: dict[str, Any]) -> WordCell:
    """One of a few words that each stand for a value."""
    words = tuple(meanings)
    texts = {value: word for word, value in meanings.items()}
    return WordCell(lambda given: meanings[text.one_of(given, words)], text.either(words), texts.__getitem__, remember=True)


def moment() -> WordCell:
    """A time."""
    return WordCell(times.moment, times.TIME_WORDS, times.moment_text)


def day() -> WordCell:
    """A day."""
    return WordCell(times.day, times.DAY_WORDS, times.day_text)
