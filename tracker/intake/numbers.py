"""Numbers in cells: decimal point or comma, found out for each file; never a guess at thousands separators.

"1,300" is 1300 to some and 1.3 to others. Such a number is read only once another one in the same file, or the
limits of its column, have shown which mark the file uses; a file is never read both ways.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Context, Decimal
from math import isfinite

from tracker.intake.text import CellError, shown

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:([.,])[0-9]*)?|([.,])[0-9]+)(?:[eE][+-]?[0-9]+)?")
_MAYBE_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(?:[.,' _\u00a0\u202f\u2019][0-9]{3})+(?:[.,][0-9]+)?")
_NOTHING = {"nan", "inf", "+inf", "-inf", "infinity", "-infinity", "n/a", "na", "none", "null", "-", "--", "–", "—", "?", "unknown", "#n/a"}
_LONGEST = 60

_EXACT = Context(prec=120)

_MARK_WORDS = {".": "a decimal point", ",": "a decimal comma"}


class Limits:
    """What a number may be, in the unit the column is written in."""

    def __init__(self, low: float, high: float, unit: str, *, low_excluded: bool = False, whole: bool = False) -> None:
        self.low = low
        self.high = high
        self.low_excluded = low_excluded
        self.whole = whole
        kind = "whole numbers" if whole else "numbers"
        start = f"above {low:.10g} up to" if low_excluded else f"from {low:.10g} to"
        self.words = f"{kind} {start} {high:.10g}" + (f" {unit}" if unit else "")

    def hold(self, value: float) -> bool:
        """Return whether `value` is allowed."""
        return self.low <= value <= self.high and not (self.low_excluded and value == self.low) and not (self.whole and value != int(value))


class DecimalMark:
    """Which decimal mark one file uses, as far as it has shown.

    Parameters
    ----------
    points_expected : bool
        Whether a number such as 1.300 may be taken for 1.3 before any other has shown the mark. It may in a file
        separated by commas, and in a single record; it may not in a file separated by semicolons.
    """

    def __init__(self, *, points_expected: bool) -> None:
        self.points_expected = points_expected
        self.mark: str | None = None
        self.shown_by = ""

    def learn(self, text: str, limits: Limits) -> None:
        """Take the mark from a number that leaves no doubt, if none has been seen before."""
        match = _NUMBER.fullmatch(text)
        mark = match and (match[1] or match[2])
        if self.mark is None and mark and _is_decisive(text, mark, limits):
            self.mark, self.shown_by = mark, text

    def with_point(self, text: str, limits: Limits) -> str:
        """Return the number as digits with a decimal point, or refuse it."""
        match = _NUMBER.fullmatch(text) if len(text) <= _LONGEST else None
        if match is None:
            raise CellError(f"{_why_no_number(text)}; allowed are {limits.words}.")
        mark = match[1] or match[2]
        if not mark:
            return text
        if self.mark is None:
            self.learn(text, limits)
            if self.mark is None and mark == "." and self.points_expected:
                self.mark, self.shown_by = mark, text
        if mark == self.mark:
            return text.replace(",", ".")
        raise CellError(self._other_mark(text, mark, limits))

    def _other_mark(self, text: str, mark: str, limits: Limits) -> str:
        bare = text.replace(mark, "")
        if self.mark is None:
            if not limits.hold(float(text.replace(mark, "."))):
                return f"{shown(text)} may be a decimal or have a mark of thousands; write {bare}; allowed are {limits.words}."
            decimal = text.rstrip("0").rstrip(mark) if text.endswith("0") else f"{text}0"
            return f"{shown(text)} may mean {bare} or {text.replace(',', '.')}; write {bare} or {decimal}; allowed are {limits.words}."
        if _MAYBE_THOUSANDS.fullmatch(text):
            advice = f"write {bare} if '{mark}' separates thousands, {text.replace(mark, self.mark)} if it is a decimal mark"
        else:
            advice = f"write {text.replace(mark, self.mark)}"
        used = f"numbers here have {_MARK_WORDS[self.mark]} ({shown(self.shown_by)})"
        return f"{shown(text)} has {_MARK_WORDS[mark]}, but {used}; {advice}; allowed are {limits.words}."


def _is_decisive(text: str, mark: str, limits: Limits) -> bool:
    if not _MAYBE_THOUSANDS.fullmatch(text):
        return True
    as_decimal, as_thousands = float(text.replace(mark, ".")), float(text.replace(mark, ""))
    return limits.hold(as_decimal) and not limits.hold(as_thousands)


def _why_no_number(text: str) -> str:
    if text.lower() in _NOTHING:
        return f"{shown(text)} is not a number; leave the cell empty when nothing was recorded"
    if len(text) > _LONGEST:
        return f"{shown(text)} is too long for a number"
    if _THOUSANDS.fullmatch(text):
        return f"{shown(text)} has thousands separators; write the number without them"
    if text and not text.isascii() and text.isdigit():
        return f"{shown(text)} is not written in the digits 0 to 9"
    if re.match(r"[+-]?[0-9.,]+\s*[A-Za-zµΩ°%]", text):
        return f"{shown(text)} is not a number; write it without a unit or other letters"
    return f"{shown(text)} is not a number"


def bounded(point_text: str, limits: Limits, given: str) -> float:
    """Return the number itself, in the unit it is written in, or refuse it as out of range, in the words given."""
    value = float(point_text)
    if not isfinite(value):
        raise CellError(f"{shown(given)} is too large; allowed are {limits.words}.")
    if not limits.hold(value):
        problem = "not a whole number" if limits.whole and value != int(value) else "out of range"
        raise CellError(f"{shown(given)} is {problem}; allowed are {limits.words}.")
    return value + 0.0  # turns -0 into 0


# Conversions go from the decimal text to the nearest float in one step, and back to the shortest text that gives
# that float again. Multiplying floats instead would lose the last digit of some values on the way out and in.


def scaled(point_text: str, power: int) -> float:
    """Return the number times ten to the `power`, rounded once."""
    if "e" in point_text or "E" in point_text:
        return float(Decimal(point_text).scaleb(power, _EXACT)) + 0.0
    return float(f"{point_text}e{power}") + 0.0


def multiplied(point_text: str, factor: int) -> float:
    """Return the number times `factor`, rounded once."""
    if len(point_text) < 10 and point_text.isdigit():
        return float(int(point_text) * factor)
    return float(_EXACT.multiply(Decimal(point_text), factor)) + 0.0


def shifted(point_text: str, offset: Decimal) -> float:
    """Return the number plus `offset`, rounded once."""
    return float(_EXACT.add(Decimal(point_text), offset))


def number_text(value: float) -> str:
    """Return the shortest text of a number."""
    return repr(float(value)).removesuffix(".0")


def scaled_text(value: float, power: int) -> str:
    """Return the text that `scaled` turns into `value`."""
    return decimal_text(Decimal(repr(float(value))).scaleb(-power, _EXACT))


def multiplied_text(value: float, factor: int) -> str:
    """Return the shortest text that `multiplied` turns into `value`."""
    quotient = _EXACT.divide(Decimal(repr(float(value))), factor)
    for text in _shortenings(quotient):
        if multiplied(text, factor) == value:
            return text
    raise CellError(f"{value!r} cannot be written as a multiple of {factor}.")


def _shortenings(number: Decimal) -> Iterable[str]:
    for digits in range(1, 25):
        yield decimal_text(Context(prec=digits).plus(number))


def shifted_text(value: float, offset: Decimal) -> str:
    """Return the text that `shifted` turns into `value`."""
    return decimal_text(_EXACT.subtract(Decimal(repr(float(value))), offset))


def decimal_text(number: Decimal) -> str:
    """Return a decimal number's digits without needless zeros, and without an exponent where that is short enough."""
    plain = number.normalize(_EXACT)
    if not plain:
        return "0"
    return f"{plain:f}" if -25 < plain.adjusted() < 25 else str(plain)
