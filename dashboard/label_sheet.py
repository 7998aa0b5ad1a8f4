"""Labels for packs as HTML: what stands on one, how large, how many on a sheet, and the code that leads to Log.

Everything on a label is measured in millimetres (`--mm` in the style sheet is one, or less on a small screen).
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from html import escape

import segno
from segno.encoder import DataOverflowError

from dashboard.addresses import log_address
from dashboard.reading import written
from dashboard.theme import NB, chemistry_words, counted, date_words, mah, number, volts
from tracker.domain.label import CellVoltages, PackLabel
from tracker.domain.pack import Pack

LEAST_MODULE_MM = 0.3
"""Squares of a code finer than this are too fine for a phone held in the hand and a home printer. Common practice, no source."""
QUIET = 4
"""Squares of white around a code (ISO/IEC 18004)."""
LINE_HEIGHT = 1.15
MOST_CODES = 500
"""Codes kept: one takes ten milliseconds to make and is the same each time a sheet is looked at."""
WHOLE_WORDS = 0.55
"""Letters are made smaller, down to this share of their full height, before a word is broken."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LabelSize:
    """A size of label. A sheet of any fits on A4 and on US Letter with margins of 10 mm."""

    key: str
    width_mm: float
    height_mm: float
    columns: int
    rows: int
    code_mm: float
    text_mm: float
    """Width left for words."""
    name_mm: float
    """Height left for the name."""
    name_font_mm: float
    least_font_mm: float

    @property
    def words(self) -> str:
        """How it is offered."""
        return f"{self.key.capitalize()}, {self.width_mm:g} × {self.height_mm:g}{NB}mm, {self.columns * self.rows} on a sheet"


SIZES: dict[str, LabelSize] = {
    size.key: size
    for size in (
        LabelSize(
            key="small", width_mm=63, height_mm=32, columns=3, rows=8, code_mm=24, text_mm=33, name_mm=8, name_font_mm=4, least_font_mm=1.7
        ),
        LabelSize(
            key="medium",
            width_mm=95,
            height_mm=51,
            columns=2,
            rows=5,
            code_mm=34,
            text_mm=52,
            name_mm=16,
            name_font_mm=6.5,
            least_font_mm=2.2,
        ),
        LabelSize(
            key="large",
            width_mm=95,
            height_mm=64,
            columns=2,
            rows=4,
            code_mm=40,
            text_mm=46,
            name_mm=20,
            name_font_mm=7.5,
            least_font_mm=2.4,
        ),
    )
}
USUAL_SIZE = "medium"


def sheets(labels: Sequence[PackLabel], size: LabelSize, base: str) -> str:
    """All the labels, sheet by sheet."""
    on_one = size.columns * size.rows
    written = [
        f'<ul class="label-sheet label-{size.key}" aria-label="Sheet {count}">{"".join(label(one, size, base) for one in labels[at : at + on_one])}</ul>'
        for count, at in enumerate(range(0, len(labels), on_one), 1)
    ]
    return "\n".join(written)


def label(one: PackLabel, size: LabelSize, base: str) -> str:
    """One label, whatever its pack is called."""
    pack = one.pack
    font_mm, lines = name_fit(pack.name, size)
    facts = [chemistry_words(pack.chemistry).capitalize(), _holds(pack), *_acquired(pack)]
    return (
        '<li class="pack-label"><div class="label-words">'
        f'<p class="label-name" dir="auto" style="--font: {font_mm:.2f}; --lines: {lines}">{escape(pack.name)}</p>'
        f'<p class="label-facts">{"<br>".join(escape(fact) for fact in facts)}</p>'
        f"{_cell(one.cell)}"
        f'</div><div class="label-code">{code_or_words(pack.name, size, base)}</div></li>'
    )


def _cell(cell: CellVoltages) -> str:
    """The voltages of one cell, one below the other."""
    storage = f"{number(cell.storage_low_v, 2)}{NB}to{NB}{volts(cell.storage_high_v)}"
    rows = (("Cell full", volts(cell.full_v)), ("Cell storage", storage), ("Cell floor", volts(cell.floor_v)))
    listed = "".join(f"<div><dt>{word}</dt><dd>{value}</dd></div>" for word, value in rows)
    return f'<dl class="label-cell">{listed}</dl><p>Maker’s instructions first.</p>'


@lru_cache(MOST_CODES)
def code_or_words(name: str, size: LabelSize, base: str) -> str:
    """The code that opens Log with a pack chosen, or why there is none."""
    try:
        code = segno.make(base + log_address(name), error="m", micro=False)
    except DataOverflowError:
        return '<p class="label-no-code">The name is too long for a code. Choose the pack in Log.</p>'
    if size.code_mm / (code.symbol_size(border=0)[0] + 2 * QUIET) < LEAST_MODULE_MM:
        return '<p class="label-no-code">The name is too long for a code of this size. Choose larger labels.</p>'
    drawn = code.svg_inline(border=QUIET, omitsize=True, title=f"Code: write down a run of {name}", dark="#000", light="#fff")
    return drawn.replace("<svg", '<svg role="img"', 1) + '<p aria-hidden="true">Write down a run</p>'


def name_fit(name: str, size: LabelSize) -> tuple[float, int]:
    """Height of the letters in which a name fits [mm], and how many lines it may take; the longest are cut with an ellipsis."""
    ems = sum(_em(sign) for sign in name)
    longest = max((sum(_em(sign) for sign in word) for word in re.split(r"(?<=-)|\s", name)), default=0.0)
    font_mm = size.name_font_mm
    while font_mm > size.least_font_mm:
        across = max(1.0, size.text_mm / font_mm)
        # Words that do not fit go to the next line whole, and leave a gap.
        lines = math.ceil(ems / across * (1.25 if ems > across else 1.0))
        whole = longest <= across or font_mm <= WHOLE_WORDS * size.name_font_mm
        if whole and lines * font_mm * LINE_HEIGHT <= size.name_mm:
            break
        font_mm -= 0.1
    font_mm = max(font_mm, size.least_font_mm)
    return font_mm, max(1, int(size.name_mm / (font_mm * LINE_HEIGHT)))


def _em(sign: str) -> float:
    """Width of a bold letter over its height, rather too much than too little."""
    if unicodedata.combining(sign) or unicodedata.category(sign) == "Cf":
        return 0.0
    if unicodedata.east_asian_width(sign) in "WF" or unicodedata.category(sign) == "So":
        return 1.3
    return 1.0 if sign in "MWmw@%&ÆŒ—…" else 0.68


def _holds(pack: Pack) -> str:
    cells = f"{counted(pack.series, 'cell')} in{NB}series" + (f", {pack.parallel}{NB}in{NB}parallel" if pack.parallel > 1 else "")
    rated = f", {written(f'{pack.continuous_c:g}')}{NB}C" if pack.continuous_c is not None else ""
    return f"{cells}, {mah(pack.capacity_ah)}{rated}"


def _acquired(pack: Pack) -> tuple[str, ...]:
    date = pack.acquired_on
    return () if date is None else (f"Acquired {date_words(date)}",)
