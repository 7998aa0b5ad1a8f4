"""What the fields of one record, and of a pack and its records, must have in common.

Only what cannot be is refused here. A voltage or a count that is merely hard to believe passes: the estimates weigh
it against the other readings and name the one that disagrees, which is worth more than a refusal.
"""

from __future__ import annotations

from typing import Any

from tracker.domain.controller import Controller
from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run
from tracker.intake.columns import HIGHEST_CELL_V
from tracker.intake.numbers import number_text
from tracker.intake.text import shown

Problems = list[tuple[str, str]]
"""Columns at fault, and what is wrong and allowed."""


def within(record: Any) -> Problems:
    """Return what is wrong between the fields of one record."""
    if isinstance(record, Pack):
        return _days(record)
    if isinstance(record, Controller):
        return _cell_cutoff(record)
    return []


def _days(pack: Pack) -> Problems:
    if pack.acquired_on is not None and pack.retired_on is not None and pack.retired_on < pack.acquired_on:
        return [("retired_on", f"'{pack.retired_on}' is before acquired_on '{pack.acquired_on}'; allowed is the same day or a later one.")]
    return []


def _cell_cutoff(controller: Controller) -> Problems:
    if controller.cutoff_mode != "cell_v":
        return []
    return [
        (
            column,
            f"'{number_text(volts)}' is too high for one cell; with cutoff_mode cell_v allowed are numbers above 0 up to {HIGHEST_CELL_V:g} V.",
        )
        for column, volts in (("cutoff_v", controller.cutoff_v), ("restart_v", controller.restart_v))
        if volts is not None and volts > HIGHEST_CELL_V
    ]


def against_series(record: Run | Charge, series: int) -> Problems:
    """Return the lists of a run or charge that do not fit the number of cells in series of its pack."""
    if isinstance(record, Run):
        volts = (("before_v", record.before_v), ("loaded_v", record.loaded_v), ("after_v", record.after_v))
        return [problem for column, values in volts for problem in _voltages(record.pack, series, column, len(values))]
    return _voltages(record.pack, series, "end_v", len(record.end_v)) + _each_cell(record.pack, series, len(record.cell_ohm))


def _voltages(pack: str, series: int, column: str, count: int) -> Problems:
    if count in (0, 1, series):
        return []
    allowed = "1" if series == 1 else f"1 (the pack's total) or {series} (each cell)"
    return [(column, f"{count} numbers are given, but pack {shown(pack)} has {series} in series; allowed is {allowed}.")]


def _each_cell(pack: str, series: int, count: int) -> Problems:
    if count in (0, series):
        return []
    given = "1 number is" if count == 1 else f"{count} numbers are"
    return [("cell_mohm", f"{given} given, but pack {shown(pack)} has {series} in series; allowed is {series}, one for each cell.")]
