"""Recordings with a known truth, and writing them as made-up loggers would."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tracker.domain.trace import Trace
from tracker.estimators.cell_family import family

Floats = NDArray[np.float64]

START = datetime(2025, 5, 14, 13, 20, 5, tzinfo=UTC)
OHM = (0.0040, 0.0040, 0.0055)
"""Of each cell; the third is the tired one."""


def drive(
    minutes: float = 8.0, step_s: float = 0.1, seed: int = 3, rest_before_s: float = 20.0, rest_after_s: float = 90.0, capacity_ah: float = 5.0
) -> Trace:  # fmt: skip
    """A drive in bursts on a pack of three cells without any slow part, in the digits a logger writes."""
    chance = np.random.default_rng(seed)
    n = round((rest_before_s + 60.0 * minutes + rest_after_s) / step_s)
    time_s = np.round(np.arange(n) * step_s, 6)
    level = np.repeat(chance.uniform(2.0, 60.0, n), max(1, round(3.0 / step_s)))[:n]
    loaded = (time_s >= rest_before_s) & (time_s < rest_before_s + 60.0 * minutes)
    current_a = np.round(np.where(loaded, level, 0.0), 2)
    drawn_ah = np.concatenate([[0.0], np.cumsum(np.diff(time_s) * (current_a[1:] + current_a[:-1]) / 2.0)]) / 3600.0
    rested_v = family("lipo").curve.voltage(1.0 - drawn_ah / capacity_ah)
    cell_v = np.round(rested_v[:, None] - current_a[:, None] * np.array(OHM) + chance.normal(0.0, 0.0005, (n, 3)), 3)
    return Trace(
        pack="Tug 1",
        started_at=START,
        time_s=time_s,
        pack_v=np.round(cell_v.sum(axis=1), 3),
        current_a=np.asarray(current_a, dtype=np.float64),
        cell_v=cell_v,
        pack_k=np.round(24.0 + 6.0 * time_s / time_s[-1], 1) + 0.0,
    )


@dataclass(frozen=True)
class Dialect:
    """How one made-up logger writes."""

    name: str
    headers: Sequence[str]
    row: Callable[[Trace, int], Sequence[str]]
    separator: str = ","
    preamble: str = ""
    below_header: str = ""
    encoding: str = "utf-8"
    line_end: str = "\n"
    tells_start: bool = False


def write(trace: Trace, dialect: Dialect, path: Path) -> Path:
    """Write a recording in a dialect; its temperatures are in degrees Celsius."""
    lines = [dialect.preamble] if dialect.preamble else []
    lines.append(dialect.separator.join(dialect.headers))
    lines += [dialect.below_header] if dialect.below_header else []
    lines += [dialect.separator.join(dialect.row(trace, i)) for i in range(len(trace.time_s))]
    path.write_bytes((dialect.line_end.join(lines) + dialect.line_end).encode(dialect.encoding))
    return path


def _moment(trace: Trace, i: int) -> datetime:
    return trace.started_at + timedelta(milliseconds=round(1000 * float(trace.time_s[i])))


def _clock(trace: Trace, i: int) -> str:
    tenths = round(10 * float(trace.time_s[i]))
    return f"{tenths // 36000}:{tenths // 600 % 60:02d}:{tenths // 10 % 60:02d}.{tenths % 10}"


def _comma(value: float, digits: int = 3) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


def _cells(trace: Trace, i: int) -> list[str]:
    return [f"{volts:.3f}" for volts in trace.cell_v[i]]


# fmt: off
DIALECTS = (
    Dialect(
        "plain",
        ["time_s", "volts", "amps", "cell_1", "cell_2", "cell_3", "temperature"],
        lambda t, i: [f"{t.time_s[i]:.1f}", f"{t.pack_v[i]:.3f}", f"{t.current_a[i]:.2f}", *_cells(t, i), f"{t.pack_k[i]:.1f}"],
    ),
    Dialect(
        "German, semicolons and decimal commas, accents of Windows",
        ["Zeit [s]", "Gesamtspannung [V]", "Strom [A]", "Zelle 1 [V]", "Zelle 2 [V]", "Zelle 3 [V]", "Akku-Temperatur [°C]"],
        lambda t, i: [
            _comma(t.time_s[i], 1),
            _comma(t.pack_v[i]),
            _comma(t.current_a[i], 2),
            *map(_comma, t.cell_v[i]),
            _comma(t.pack_k[i], 1),
        ],
        separator=";",
        encoding="cp1252",
        line_end="\r\n",
    ),
    Dialect(
        "everything in thousandths, discharge negative",
        ["Time(ms)", "Cell1(mV)", "Cell2(mV)", "Cell3(mV)", "Pack(mV)", "Current(mA)", "Temp(C)"],
        lambda t, i: [
            f"{1000 * t.time_s[i]:.0f}",
            *(f"{1000 * volts:.0f}" for volts in t.cell_v[i]),
            f"{1000 * t.pack_v[i]:.0f}",
            f"{-1000 * t.current_a[i]:.0f}",
            f"{t.pack_k[i]:.1f}",
        ],
    ),
    Dialect(
        "tabs, a clock, a preamble with words of its own, and units below the header",
        ["Elapsed Time", "Power", "Bus Voltage", "Motor Current Limit", "Current", "Z1", "Z2", "Z3", "T_pack"],
        lambda t, i: [_clock(t, i), "0.0", f"{t.pack_v[i]:.3f}", "80", f"{t.current_a[i]:.2f}", *_cells(t, i), f"{t.pack_k[i]:.1f}"],
        separator="\t",
        preamble="Recorder serial 00042\nFirmware, 1.7 (voltage calibrated)\n",
        below_header="hh:mm:ss\tW\tV\tA\tA\tV\tV\tV\t°C",
    ),
    Dialect(
        "time stamps with an offset, columns of other things before",
        [
            "Timestamp",
            "Throttle %",
            "RPM",
            "Battery Voltage (V)",
            "Battery Current (A)",
            "Cell 1",
            "Cell 2",
            "Cell 3",
            "Battery Temp (°C)",
            "ESC Temp (°C)",
        ],
        lambda t, i: [
            _moment(t, i).isoformat(timespec="milliseconds"),
            "50",
            "12000",
            f"{t.pack_v[i]:.3f}",
            f"{t.current_a[i]:.2f}",
            *_cells(t, i),
            f"{t.pack_k[i]:.1f}",
            "61.0",
        ],
        tells_start=True,
    ),
    Dialect(
        "date and clock in two columns, day first, cells from 0",
        ["Datum", "Uhrzeit", "Spannung", "Strom", "Cell[0]", "Cell[1]", "Cell[2]", "Temp"],
        lambda t, i: [
            f"{_moment(t, i):%d.%m.%Y}",
            f"{_moment(t, i):%H:%M:%S.%f}"[:-3],
            f"{t.pack_v[i]:.3f}",
            f"{t.current_a[i]:.2f}",
            *_cells(t, i),
            f"{t.pack_k[i]:.1f}",
        ],
        separator=";",
    ),
    Dialect(
        "seconds since 1970, quoted headers, a separator at the end of every line",
        ['"Unix time"', '"U (V)"', '"I (A)"', '"U1 (V)"', '"U2 (V)"', '"U3 (V)"', '"T (°C)"'],
        lambda t, i: [
            f"{_moment(t, i).timestamp():.1f}",
            f"{t.pack_v[i]:.3f}",
            f"{t.current_a[i]:.2f}",
            *_cells(t, i),
            f"{t.pack_k[i]:.1f}",
            "",
        ],
        tells_start=True,
    ),
    Dialect(
        "French, no voltage of the pack",
        ["Temps (s)", "Courant (A)", "Cellule 1 (V)", "Cellule 2 (V)", "Cellule 3 (V)", "Température (°C)"],
        lambda t, i: [_comma(t.time_s[i], 1), _comma(t.current_a[i], 2), *map(_comma, t.cell_v[i]), _comma(t.pack_k[i], 1)],
        separator=";",
    ),
    Dialect(
        "minutes, Fahrenheit, lower and upper case, blanks",
        [" Elapsed (min) ", " VOLTAGE [V] ", " CURRENT [A] ", " cell_1_v ", " cell_2_v ", " cell_3_v ", " temp (°F) "],
        lambda t, i: [
            f" {t.time_s[i] / 60:.7f}",
            f" {t.pack_v[i]:.3f}",
            f" {t.current_a[i]:.2f}",
            *(f" {volts}" for volts in _cells(t, i)),
            f" {1.8 * t.pack_k[i] + 32:.2f}",
        ],
    ),
    Dialect(
        "one letter a column, old line ends",
        ["t", "U", "I", "Z1", "Z2", "Z3", "°C"],
        lambda t, i: [f"{t.time_s[i]:.1f}", f"{t.pack_v[i]:.3f}", f"{t.current_a[i]:.2f}", *_cells(t, i), f"{t.pack_k[i]:.1f}"],
        separator="|",
        line_end="\r",
    ),
)
# fmt: on
