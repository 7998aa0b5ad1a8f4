"""Readable output: aligned tables, numbers with their interval, findings in words. Plain text only."""

from __future__ import annotations

import shutil
import sys
import textwrap
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from tracker.domain.results import Estimate, Finding, Quantity

USUAL_WIDTH = 80
GAP = "  "


@dataclass(frozen=True, kw_only=True, slots=True)
class Column:
    """One column of a table."""

    title: str
    right: bool = False
    shrinks: bool = False
    """May be cut short, with an ellipsis, when the terminal is too narrow."""
    least: int = 8
    """The narrowest it is cut to."""


def table(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> list[str]:
    """Return the lines of a table."""
    cells = [[column.title for column in columns], *([clean(cell) for cell in row] for row in rows)]
    widths = [max(width_of(row[i]) for row in cells) for i in range(len(columns))]
    _shrink(widths, columns)
    return [
        GAP.join(_fit(cell, width, column.right) for cell, width, column in zip(row, widths, columns, strict=True)).rstrip()
        for row in cells
    ]


def clean(text: str) -> str:
    """Return `text` as one harmless line: what would steer a terminal is shown, not obeyed."""
    return "".join(letter if letter.isprintable() else _visible(letter) for letter in text)


def quantity(value: Quantity, words: Callable[[float], str], missing: str = "?") -> str:
    """Return 'value ± half the 90 % interval', or `missing` where there is no estimate."""
    if not isinstance(value, Estimate):
        return missing
    return f"{words(value.value)} ± {words((value.high - value.low) / 2)}"


def whole(value: float) -> str:
    """Return a number without decimals, thousands set apart."""
    return f"{value:,.0f}".replace("-0", "0") if abs(value) < 0.5 else f"{value:,.0f}"


def percent(value: float) -> str:
    """Return a share of one as whole percent, without the sign."""
    return whole(100 * value)


def local(at: datetime | None) -> str:
    """Return a time in the local zone, to the minute."""
    return "–" if at is None else f"{at.astimezone():%Y-%m-%d %H:%M}"


def local_day(at: datetime | None) -> str:
    """Return the day of a time in the local zone."""
    return "–" if at is None else f"{at.astimezone():%Y-%m-%d}"


def finding_lines(finding: Finding, indent: str = "", *, subject: bool = False) -> list[str]:
    """Return a finding: how pressing, what, why and where that comes from."""
    head = f"{finding.severity}: {finding.subject}: " if subject else f"{finding.severity}: "
    lines = wrapped(clean(head + finding.message), indent)
    if finding.why:
        source = f" ({finding.source})" if finding.source else ""
        lines += wrapped(clean(f"why: {finding.why}{source}"), f"{indent}  ")
    return lines


def wrapped(text: str, indent: str = "") -> list[str]:
    """Return `text` broken to the width of the terminal."""
    return textwrap.wrap(text, _terminal_width(), initial_indent=indent, subsequent_indent=f"{indent}  ", break_on_hyphens=False)


def show(lines: Iterable[str]) -> None:
    """Print lines."""
    for line in lines:
        print(line)


def counted(number: int, one: str, many: str | None = None) -> str:
    """Return '1 run' or '1,204 runs'."""
    return f"{number:,} {one if number == 1 else many or f'{one}s'}"


def width_of(text: str) -> int:
    """Return how many places `text` takes on a terminal."""
    return sum(0 if unicodedata.combining(letter) else 2 if unicodedata.east_asian_width(letter) in "WF" else 1 for letter in text)


def _visible(letter: str) -> str:
    return " " if letter in "\t\r\n" or unicodedata.category(letter) == "Zs" else "\N{REPLACEMENT CHARACTER}"


def _terminal_width() -> int:
    return max(40, shutil.get_terminal_size((USUAL_WIDTH, 24)).columns) if sys.stdout.isatty() else USUAL_WIDTH


def _shrink(widths: list[int], columns: Sequence[Column]) -> None:
    """Cut columns that allow it until the table fits the terminal; output that goes to a file stays whole."""
    if not sys.stdout.isatty():
        return
    room = _terminal_width() - len(GAP) * (len(columns) - 1)
    while sum(widths) > room:
        loose = [i for i, column in enumerate(columns) if column.shrinks and widths[i] > column.least]
        if not loose:
            return
        widths[max(loose, key=lambda i: widths[i])] -= 1


def _fit(text: str, width: int, right: bool) -> str:
    while width_of(text) > width:
        text = f"{text[:-2]}…"
    padding = " " * (width - width_of(text))
    return padding + text if right else text + padding
