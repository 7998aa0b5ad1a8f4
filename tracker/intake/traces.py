"""From a logger's file to a recording: columns, units, times and the sign of discharge are found out, or as they are given.

Whatever was guessed is said in `doubts`, so that a person can confirm it. Numbers are read column by column in C.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tracker.domain.trace import AMP_UNITS, DIRECTIONS, TEMPERATURE_UNITS, TIME_UNITS, VOLT_UNITS, Trace, TracePreview, TraceReading
from tracker.errors import FieldErrors
from tracker.intake.text import either, shown
from tracker.intake.trace_file import TraceLayout, is_trace, lay_out, refuse
from tracker.intake.trace_signs import direction_of
from tracker.intake.trace_table import TraceTable, of
from tracker.intake.trace_times import BadTimeError, Times, from_numbers, from_texts, in_order
from tracker.physics.recording import charge_used
from tracker.units import ZERO_CELSIUS_K

__all__ = ["ReadTrace", "is_trace", "read_trace"]

Floats = NDArray[np.float64]

MILLIVOLTS_ABOVE = {"volts": 200.0, "cell": 50.0}
"""Without a unit, larger voltages than these are taken for millivolts."""
MILLIAMPS_ABOVE = 500.0
"""Without a unit, larger currents than this are taken for milliamperes."""
SUM_APART = 0.05
"""The cells' sum and the pack's voltage should agree better than this, relative."""
_UNITS = {"time": TIME_UNITS, "volts": VOLT_UNITS, "amps": AMP_UNITS, "temperature": TEMPERATURE_UNITS, "cell": VOLT_UNITS}


@dataclass(frozen=True, slots=True)
class ReadTrace:
    """A recording as read, not yet of any run, and what was found out about its file."""

    preview: TracePreview
    time_s: Floats
    pack_v: Floats
    current_a: Floats
    cell_v: Floats
    pack_k: Floats

    def trace(self, pack: str, started_at: datetime) -> Trace:
        """Return it as the recording of one run."""
        return Trace(
            pack=pack,
            started_at=started_at,
            time_s=self.time_s,
            pack_v=self.pack_v,
            current_a=self.current_a,
            cell_v=self.cell_v,
            pack_k=self.pack_k,
        )


def read_trace(path: Path, reading: TraceReading | None = None, file_name: str | None = None) -> ReadTrace:
    """Read a logger's file.

    Raises
    ------
    ImportRefusedError
        Listing what is wrong with which line.
    FieldErrors
        When the reading asked for does not fit the file.
    """
    wanted = reading or TraceReading()
    _check(wanted)
    layout = lay_out(path, wanted.columns)
    units = dict(layout.matched.units) | dict(wanted.units)
    doubts = list(layout.doubts)
    table = TraceTable(layout)
    times, keep, lines = _times(table, units.get("time"), doubts)
    units["time"] = times.unit
    values = {role: table.numbers(role)[keep] for role in layout.matched.places if of(role) in ("volts", "amps", "cell", "temperature")}
    _units_by_size(values, units, layout, doubts)
    for role, column in values.items():
        values[role] = _in_si(column, of(role), units[role])
        table.check_limits(role, values[role], lines)
    time_s = times.time_s
    cells = [values[f"cell_{number}"] for number in range(1, 1 + sum(role.startswith("cell_") for role in values))]
    cell_v = np.column_stack(cells) if cells else np.zeros((len(time_s), 0))
    pack_v = values["volts"] if "volts" in values else _summed(cell_v, doubts)
    _check_sum(pack_v, cell_v, doubts)
    current_a = values["amps"]
    discharge = wanted.discharge or direction_of(time_s, pack_v, current_a, doubts)
    if discharge == "negative":
        current_a = np.where(current_a == 0, 0.0, -current_a)
    found = charge_used(time_s, current_a)
    if found.gap_s > 0:
        doubts.append(f"The logger was silent for {found.gap_s:,.0f} s of the recording in all; the current was taken straight across.")
    if np.isfinite(found.used_ah) and found.used_ah < 0:
        doubts.append("More charge flows in than out: this looks like a charge, or the sign of the current is the other way round.")
    preview = TracePreview(
        reading=TraceReading(columns={role: layout.headers[place] for role, place in layout.matched.places.items()}, units=units, discharge=discharge),
        headers=layout.headers,
        rows=len(time_s),
        span_s=float(time_s[-1]),
        started_at=table.constant_moment("started_at") or times.began,
        used_ah=found.used_ah,
        lowest_v=float(np.nanmin(pack_v)) if np.isfinite(pack_v).any() else float("nan"),
        highest_a=float(np.nanmax(current_a)) if np.isfinite(current_a).any() else float("nan"),
        doubts=tuple(dict.fromkeys(doubts)),
        first_rows=layout.first_rows,
        pack=table.constant_name("pack"),
    )  # fmt: skip
    return ReadTrace(preview, time_s, pack_v, current_a, cell_v, values.get("temperature", np.zeros(0)))


def _check(wanted: TraceReading) -> None:
    problems: dict[str, str] = {}
    for role in {*wanted.columns, *wanted.units}:
        if role not in ("time", "date", "volts", "amps", "temperature") and not (
            role.startswith("cell_") and role[5:].isdigit() and role[5:] != "0"
        ):
            problems["columns"] = (
                f"{shown(role)} is nothing a recording has; allowed are time, volts, amps, cell_1, cell_2 and so on, temperature"
            )
    for role, unit in wanted.units.items():
        if of(role) in _UNITS and unit not in _UNITS[of(role)]:
            problems["units"] = f"{shown(unit)} is no unit of {role}; allowed are {either(_UNITS[of(role)])}"
    cells = sorted(int(role[5:]) for role in wanted.columns if role.startswith("cell_") and role[5:].isdigit())
    if cells != list(range(1, len(cells) + 1)):
        problems["columns"] = f"the cells named are {', '.join(map(str, cells))}; allowed are 1 and on, none left out"
    if wanted.discharge not in (None, *DIRECTIONS):
        problems["discharge"] = f"{shown(str(wanted.discharge))} is not known; allowed are positive and negative"
    if problems:
        raise FieldErrors(problems)


def _times(table: TraceTable, unit: str | None, doubts: list[str]) -> tuple[Times, NDArray[np.bool_], NDArray[np.int64]]:
    """Times of the rows that have one, which rows those are, and their lines."""
    if table.is_text("time"):
        texts = table.texts("time")
        keep = texts.notna().to_numpy() & (texts.fillna("").str.strip() != "").to_numpy()
    else:
        keep = np.isfinite(table.numbers("time"))
    lines = table.layout.first_row + 1 + np.flatnonzero(keep)
    if keep.sum() < 2:
        raise refuse(table.path, table.layout.first_row + 1, "time", f"holds {int(keep.sum())} times; needed are two at the least.")
    kept = np.flatnonzero(keep)
    try:
        if table.is_text("time"):
            dates = table.texts("date")[keep] if "date" in table.columns and table.is_text("date") else None
            times = from_texts(table.texts("time")[keep], dates)
        else:
            times = from_numbers(table.numbers("time")[keep], unit)
        time_s, words = in_order(times.time_s, np.asarray(lines, dtype=np.int64))
    except BadTimeError as bad:
        raise table.refused("time", int(kept[bad.row]), bad.message) from bad
    if keep.sum() < table.layout.rows and not keep.all():
        _note_empty(table, keep, doubts)
    doubts += [*times.doubts, *words]
    return replace(times, time_s=time_s), np.asarray(keep), np.asarray(lines, dtype=np.int64)


def _note_empty(table: TraceTable, keep: NDArray[np.bool_], doubts: list[str]) -> None:
    written = np.zeros(len(keep), dtype=bool)
    for role in table.columns:
        if role not in ("time", "date") and not table.is_text(role):
            written |= np.isfinite(table.numbers(role))
    lost = int((written & ~keep).sum())
    if lost:
        doubts.append(f"{lost:,} rows have no time and were left out.")


def _units_by_size(values: Mapping[str, Floats], units: dict[str, str], layout: TraceLayout, doubts: list[str]) -> None:
    """Settle units that no header gives, from how large the numbers are."""
    guessed: list[str] = []
    for role, column in values.items():
        if role in units:
            continue
        sizes = np.abs(column[np.isfinite(column)])
        kind = of(role)
        if kind == "cell" and "cell_1" in units:
            units[role] = units["cell_1"]
            continue
        middle, most = (float(np.median(sizes)), float(sizes.max())) if len(sizes) else (0.0, 0.0)
        if kind in MILLIVOLTS_ABOVE:
            units[role] = "mV" if middle > MILLIVOLTS_ABOVE[kind] else "V"
        elif kind == "amps":
            units[role] = "mA" if most > MILLIAMPS_ABOVE else "A"
        else:
            units[role] = "K" if middle > 200.0 else "°C"
        guessed.append(f"{units[role]} for {shown(layout.headers[layout.matched.places[role]])}")
    if guessed:
        listed = either(guessed[:6]) + (f" and {len(guessed) - 6} more" if len(guessed) > 6 else "")
        doubts.append(f"Units that no header gives were taken by the size of the numbers: {listed}.")


def _in_si(values: Floats, kind: str, unit: str) -> Floats:
    # Rounded so that 23.4 °C and 296.55 K are the same number whichever way they come, and divided, as 7412 mV are 7.412 V then.
    if kind == "temperature":
        kelvin = {"K": values, "°C": values + ZERO_CELSIUS_K, "°F": (values - 32.0) / 1.8 + ZERO_CELSIUS_K}[unit]
        return values if unit == "K" else np.asarray(np.round(kelvin, 6), dtype=np.float64)
    return values / 1000.0 if unit in ("mV", "mA") else values


def _summed(cell_v: Floats, doubts: list[str]) -> Floats:
    doubts.append("The file has no voltage of the whole pack; the sum of its cells was taken.")
    return np.asarray(np.round(cell_v.sum(axis=1), 9), dtype=np.float64)


def _check_sum(pack_v: Floats, cell_v: Floats, doubts: list[str]) -> None:
    if not cell_v.shape[1]:
        return
    total = cell_v.sum(axis=1)
    both = np.isfinite(total) & np.isfinite(pack_v) & (np.abs(pack_v) > 0)
    if both.any():
        ratio = float(np.median(total[both] / pack_v[both]))
        if abs(ratio - 1.0) > SUM_APART:
            doubts.append(
                f"The {cell_v.shape[1]} cells add up to {ratio:.2f} times the pack's voltage; look whether every cell and the right columns were found."
            )
