"""Single quantities as people type them: resistances such as 10k, 4k7 or 0R47, and plain numbers within limits."""

from __future__ import annotations

import re

from tracker.intake.numbers import DecimalMark, Limits, bounded
from tracker.intake.text import CellError, shown

LARGEST_OHM = 1e9
RESISTANCE_WORDS = "resistances above 0 up to 1000 MΩ, such as 10k, 4k7, 0R47, 2M2 or 470"

_FACTORS = {"": 1.0, "r": 1.0, "k": 1e3, "M": 1e6}
_CODED = re.compile(r"([0-9]*)([rRkKM])([0-9]+)")
_PLAIN = re.compile(r"([0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE]([+-]?[0-9]{1,3}))?\s*([rRkKM]?)")
_UNIT = re.compile(r"\s*(?:Ω|Ω|[oO][hH][mM][sS]?)$")
_MILLI = re.compile(r"[0-9.,]*\s*m[0-9]*")


def resistance(text: str) -> float:
    """Return ohms from a resistance as typed or printed on parts; CellError where it is none, or none there is."""
    bare = _UNIT.sub("", text.strip())
    coded, plain = _CODED.fullmatch(bare), _PLAIN.fullmatch(bare)
    if coded:
        whole, mark, part = coded.groups()
        value = float(f"{whole or '0'}.{part}") * _factor(mark)
    elif plain:
        digits, power, mark = plain.groups()
        value = float(f"{digits.replace(',', '.')}e{power or 0}") * _factor(mark)
    elif _MILLI.fullmatch(bare):
        raise CellError(f"{shown(text)} reads as milliohms; write M for megohms, such as 2M2; allowed are {RESISTANCE_WORDS}.")
    else:
        raise CellError(f"{shown(text)} is not a resistance; allowed are {RESISTANCE_WORDS}.")
    if not 0 < value <= LARGEST_OHM:
        raise CellError(f"{shown(text)} is out of range; allowed are {RESISTANCE_WORDS}.")
    return round(value, 9)


def quantity(text: str, limits: Limits) -> float:
    """Return a number with a decimal point or comma; CellError where it is none or not allowed."""
    stripped = text.strip()
    return bounded(DecimalMark(points_expected=True).with_point(stripped, limits), limits, stripped)


def _factor(mark: str) -> float:
    return _FACTORS[mark if mark == "M" else mark.lower()]
