"""Recordings: time, voltage and current of a run as a logger wrote them, and what is found out about a logger's file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from tracker.domain.session import Volts

Floats = NDArray[np.float64]

TIME_UNITS = ("s", "ms", "min", "h", "timestamp")
VOLT_UNITS = ("V", "mV")
AMP_UNITS = ("A", "mA")
TEMPERATURE_UNITS = ("°C", "°F", "K")
DIRECTIONS = ("positive", "negative")
"""What sign discharge has in a file; in here it is positive."""


def _nothing() -> Floats:
    return np.zeros(0)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Trace:
    """What a logger wrote during one run of one pack, at n times; NaN where it wrote nothing."""

    pack: str
    started_at: datetime
    """Aware, UTC. Together with the pack the key of the run it belongs to."""
    time_s: Floats
    """(n,) since the recording began, rising from 0."""
    pack_v: Floats
    """(n,)"""
    current_a: Floats
    """(n,), discharge positive."""
    cell_v: Floats
    """(n, cells), or (n, 0) where cells were not recorded."""
    pack_k: Floats = field(default_factory=_nothing)
    """(n,), or (0,) where the temperature was not recorded."""
    file_name: str = ""
    """Of the file it was read from, without its folder."""

    def __eq__(self, other: object) -> bool:
        """Return whether every number is the same one, where NaN equals NaN."""
        if not isinstance(other, Trace):
            return NotImplemented
        mine, theirs = ((each.time_s, each.pack_v, each.current_a, each.cell_v, each.pack_k) for each in (self, other))
        return (self.pack, self.started_at, self.file_name) == (other.pack, other.started_at, other.file_name) and all(
            np.array_equal(one, two, equal_nan=True) for one, two in zip(mine, theirs, strict=True)
        )

    __hash__ = None  # type: ignore[assignment]


@dataclass(frozen=True, kw_only=True, slots=True)
class TraceReading:
    """How the columns of a logger's file are to be read. What is left out is found out."""

    columns: Mapping[str, str] = field(default_factory=dict)
    """Of each role the header as it stands in the file: time, volts, amps, cell_1 and so on, temperature."""
    units: Mapping[str, str] = field(default_factory=dict)
    """Of each role its unit; all cells have that of cell_1."""
    discharge: str | None = None
    """positive or negative"""


@dataclass(frozen=True, kw_only=True, slots=True)
class TracePreview:
    """What was found out about a logger's file before anything of it is kept."""

    reading: TraceReading
    headers: tuple[str, ...]
    rows: int
    span_s: float
    started_at: datetime | None
    """From time stamps in the file; None where it counts from its own beginning."""
    used_ah: float
    lowest_v: float
    highest_a: float
    doubts: tuple[str, ...] = ()
    """What was guessed and should be confirmed, and what is odd about the file."""
    first_rows: tuple[tuple[str, ...], ...] = ()
    """As they stand in the file."""
    pack: str | None = None
    """Where the file names it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class TraceNote:
    """That a recording is kept, and how large it is."""

    pack: str
    started_at: datetime
    rows: int
    span_s: float
    stored_bytes: int
    file_name: str


@dataclass(frozen=True, kw_only=True, slots=True)
class TraceSummary:
    """What a recording shows by itself, kept beside it so that nobody has to unpack it to assess the run."""

    used_ah: float | None
    """Net charge drawn; None where no current was recorded."""
    gap_s: float = 0.0
    """For how long the logger was silent in all."""
    gap_sd_ah: float = 0.0
    """Standard uncertainty of what flowed meanwhile."""
    run_s: float = 0.0
    """From the first load to the last."""
    mean_a: float | None = None
    """Over that time."""
    peak_a: float | None = None
    loaded_v: Volts = ()
    """Lowest under load: of each cell, or of the pack where cells were not recorded."""
    loaded_a: float | None = None
    """When the pack, or its weakest cell, was lowest."""
    before_v: Volts = ()
    """Just before the first load, where the logger ran by then."""
    before_rest_s: float = 0.0
    """How long it ran before that: the pack had rested so long at the least."""
    after_v: Volts = ()
    """At the end, where the logger ran on after the last load."""
    after_rest_s: float = 0.0
    """How long it ran on."""
    step_ohm: tuple[float, ...] = ()
    """Resistance of each cell, or of the pack, from steps of current, as warm as it was."""
    step_sd_ohm: tuple[float, ...] = ()
    pack_k: float | None = None
    """Mean temperature under load."""
    stretch_s: tuple[float, ...] = ()
    stretch_a: tuple[float, ...] = ()
    """The load as stretches of one current each."""
