"""Writes a recording as the kind of CSV file it is read from, every number to its last digit."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from tracker.domain.trace import Trace
from tracker.intake.times import moment_text

OWN_COLUMNS = ("pack", "started_at", "time_s", "pack_v", "current_a")
"""The first columns of a recording written here, whose current is positive on discharge."""
_ROWS_AT_A_TIME = 100_000
_UNSAFE = re.compile(r"[^A-Za-z0-9._-]+")


def trace_headers(cells: int, *, temperature: bool) -> list[str]:
    """Return the columns of a recording: the pack and start of its run first, the same in every row."""
    own = [*OWN_COLUMNS, *(f"cell_{number}_v" for number in range(1, cells + 1))]
    return [*own, "pack_k"] if temperature else own


def trace_file_name(trace: Trace, taken: set[str]) -> str:
    """Return a name for a recording's file that no other one has, also where capitals make no difference."""
    pack = _UNSAFE.sub("-", trace.pack).strip("-.")[:60] or "pack"
    stem = f"trace_{pack}_{trace.started_at:%Y%m%dT%H%M%SZ}"
    name, number = f"{stem}.csv", 1
    while name.lower() in taken:
        number += 1
        name = f"{stem}_{number}.csv"
    taken.add(name.lower())
    return name


def write_trace(trace: Trace, path: Path) -> None:
    """Write a recording into a new file."""
    # Half a second that only those wait for who write recordings.
    import pandas as pd

    cells = trace.cell_v.shape[1]
    warm = len(trace.pack_k) > 0
    numbers = [trace.time_s[:, None], trace.pack_v[:, None], trace.current_a[:, None], trace.cell_v]
    table = np.concatenate([*numbers, trace.pack_k[:, None]] if warm else numbers, axis=1)
    headers = trace_headers(cells, temperature=warm)
    with path.open("x", encoding="utf-8", newline="") as stream:
        for start in range(0, len(table), _ROWS_AT_A_TIME):
            part = pd.DataFrame(table[start : start + _ROWS_AT_A_TIME], columns=headers[2:])
            part.insert(0, "pack", trace.pack)
            part.insert(1, "started_at", moment_text(trace.started_at))
            part.to_csv(stream, index=False, header=start == 0, lineterminator="\n")
