"""Bringing in one recording: what was found out about a logger's file, in plain words, and keeping it with its run."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tracker.cli.options import open_chosen, words
from tracker.errors import InputError

if TYPE_CHECKING:
    from tracker.domain.trace import TraceNote, TracePreview, TraceReading
    from tracker.services import Services

_ROLE = re.compile(r"(?:^|,)\s*(time|date|volts|amps|temperature|cell_\d{1,3})\s*=")
_OPTIONS = ("pack", "started_at", "vehicle", "columns", "units", "discharge")
_WORDS = {"time": "time", "date": "date", "volts": "voltage", "amps": "current", "temperature": "temperature"}


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what is said of a recording."""
    group = parser.add_argument_group("one recording", "a logger's file with time, voltage and current, brought in by itself")
    group.add_argument("--pack", metavar="NAME", type=words, help="the pack it is of")
    group.add_argument("--started-at", metavar="TIME", type=words, help="when the run started; left out where the file tells it")
    group.add_argument("--vehicle", metavar="NAME", type=words, help="the model the pack was driven in")
    group.add_argument(
        "--columns", metavar="LIST", type=words, help='which column is what: "time=…,volts=…,amps=…,cell_1=…,temperature=…", headers as in the file'
    )  # fmt: skip
    group.add_argument("--units", metavar="LIST", type=words, help='units no header gives: "time=ms,volts=mV,amps=mA"')
    group.add_argument("--discharge", choices=("positive", "negative"), help="the sign discharge has in the file; left out, found out")


def is_one_recording(args: argparse.Namespace) -> bool:
    """Tell whether a recording is to be brought in by itself: something is said of it, or its file does not say it."""
    if any(getattr(args, option) is not None for option in _OPTIONS):
        return True
    from tracker.intake.trace_file import headers_of
    from tracker.intake.traces import is_trace

    if len(args.paths) != 1 or not args.paths[0].is_file() or not is_trace(args.paths[0]):
        return False
    return not {"pack", "started_at"} <= set(headers_of(args.paths[0]))


def import_recording(args: argparse.Namespace) -> int:
    """Look at a recording and, unless it is only to be looked at, keep it."""
    from tracker.cli.output import show

    if len(args.paths) != 1 or not args.paths[0].is_file():
        raise InputError(
            "a recording is brought in by itself; name one file with --pack, --started-at, --columns, --units and --discharge."
        )
    if args.json:
        raise InputError("a recording is told of in words only; leave --json out.")
    file: Path = args.paths[0]
    reading, started_at = _reading(args), _started_at(args.started_at)
    with open_chosen(args) as services:
        preview = services.traces.look(file, reading)
        if args.dry_run:
            show(["Nothing was stored, as asked. This is what was found out:"])
            show(preview_lines(preview))
            return 0
        note = services.traces.keep(
            file, pack=args.pack, started_at=started_at, vehicle=args.vehicle, reading=reading, replace=args.update
        )  # fmt: skip
        show(preview_lines(preview))
        show(_kept_lines(services, note))
    return 0


def preview_lines(preview: TracePreview) -> Iterator[str]:
    """Return what was found out about a recording."""
    from tracker.cli.output import Column, clean, table, wrapped

    reading = preview.reading
    columns = [Column(title="what"), Column(title="column"), Column(title="unit")]
    rows = [[_role(role), clean(header), reading.units.get(role, "")] for role, header in reading.columns.items()]
    yield from table(columns, rows)
    yield ""
    yield f"discharge     {reading.discharge} in the file"
    yield f"readings      {preview.rows:,} over {_span(preview.span_s)}"
    if preview.started_at is not None:
        yield f"began         {preview.started_at.astimezone():%Y-%m-%d %H:%M:%S}"
    if preview.pack is not None:
        yield f"pack          {clean(preview.pack)}"
    yield f"charge drawn  {_number(1000.0 * preview.used_ah, 0)} mAh"
    yield f"voltage       down to {_number(preview.lowest_v, 2)} V"
    yield f"current       up to {_number(preview.highest_a, 1)} A"
    for doubt in preview.doubts:
        yield from wrapped(clean(f"to confirm: {doubt}"))


def _kept_lines(services: Services, note: TraceNote) -> Iterator[str]:
    from tracker.cli.output import clean, wrapped

    at = f"{note.started_at.astimezone():%Y-%m-%d %H:%M}"
    yield ""
    yield from wrapped(
        clean(
            f"Kept with the run of '{note.pack}' at {at}, in {note.stored_bytes:,} bytes; see 'pack-tracker assess --pack \"{note.pack}\"'."
        )
    )


def _reading(args: argparse.Namespace) -> TraceReading:
    from tracker.domain.trace import TraceReading

    return TraceReading(columns=_pairs(args.columns, "--columns"), units=_pairs(args.units, "--units"), discharge=args.discharge)


def _pairs(text: str | None, option: str) -> dict[str, str]:
    """Return a list such as time=Time,volts=U [V] by its roles; a header may hold a comma."""
    if text is None:
        return {}
    found = list(_ROLE.finditer(text))
    if not found or text[: found[0].start()].strip():
        raise InputError(f"{option} is '{text[:80]}'; write it as \"time=…,volts=…,amps=…,cell_1=…,temperature=…\".")
    ends = [*(match.start() for match in found[1:]), len(text)]
    pairs = {match.group(1): text[match.end() : end].strip() for match, end in zip(found, ends, strict=True)}
    return pairs if option == "--columns" else {role: _unit(unit) for role, unit in pairs.items()}


def _unit(text: str) -> str:
    return {"c": "°C", "f": "°F", "degc": "°C", "degf": "°F"}.get(text.lower(), text)


def _started_at(text: str | None) -> datetime | None:
    from tracker.errors import FieldErrors
    from tracker.intake.text import CellError
    from tracker.intake.times import moment

    try:
        return None if text is None else moment(text.strip())
    except CellError as problem:
        raise FieldErrors({"started_at": str(problem)}) from problem


def _role(role: str) -> str:
    return f"cell {role[5:]}" if role.startswith("cell_") else _WORDS.get(role, role)


def _span(span_s: float) -> str:
    return f"{span_s / 60.0:,.1f} min" if span_s >= 60.0 else f"{span_s:.1f} s"


def _number(value: float, digits: int) -> str:
    return f"{value:,.{digits}f}" if value == value else "unknown"
