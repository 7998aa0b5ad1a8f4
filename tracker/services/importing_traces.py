"""Recordings among the files of an import: stored in its transaction, or refused with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from tracker.domain.progress import Progress
from tracker.domain.results import ImportReport
from tracker.domain.session import Run
from tracker.domain.trace import Trace, TraceReading
from tracker.errors import BadRow, ConflictError, ImportRefusedError
from tracker.intake.trace_file import headers_of
from tracker.intake.trace_write import OWN_COLUMNS
from tracker.intake.traces import read_trace
from tracker.services.checks import time_problems, unknown
from tracker.services.traces import LEAST_RUN_S, cell_problem, is_same, keep_trace
from tracker.store.records import Records

KIND = "recordings"
_ALONE = (
    "does not tell which pack the recording is of, and when the run started; bring it in by itself, with --pack and --started-at, "
    "or add columns pack and started_at with the same in every row."
)


def import_traces(
    records: Records,
    files: Sequence[Path],
    report: ImportReport,
    *,
    update: bool,
    names: Mapping[Path, str] | None = None,
    progress: Progress | None,
) -> ImportReport:
    """Store recordings that name their pack and time, and return the report with them; ImportRefusedError with all that is wrong.

    `names` says what a person calls a file where that is not its path.
    """
    if not files:
        return report
    counts = {"added": 0, "unchanged": 0, "updated": 0}
    warnings: list[str] = []
    bad: list[BadRow] = []
    more = 0
    for done, path in enumerate(files):
        if progress is not None:
            progress("reading recordings", done, len(files))
        try:
            label = (names or {}).get(path, str(path))
            counts[_import(records, path, label, update=update, warnings=warnings)] += 1
        except ImportRefusedError as refusal:
            bad += [replace(row, file=label) for row in refusal.rows]
            more += refusal.more
    if bad:
        raise ImportRefusedError(bad[:50], more + len(bad[50:]))
    return replace(
        report,
        added={**report.added, KIND: counts["added"]},
        unchanged={**report.unchanged, KIND: counts["unchanged"]},
        updated={**report.updated, KIND: counts["updated"]},
        warnings=(*report.warnings, *warnings),
    )


def names_its_run(path: Path) -> bool:
    """Tell whether a recording has columns for its pack and the time its run started."""
    return {"pack", "started_at"} <= set(headers_of(path))


def _import(records: Records, path: Path, label: str, *, update: bool, warnings: list[str]) -> str:
    if not names_its_run(path):
        raise ImportRefusedError([BadRow(str(path), 1, "header", _ALONE)])
    ours = set(OWN_COLUMNS) <= set(headers_of(path))
    found = read_trace(path, TraceReading(discharge="positive") if ours else None)
    warnings += [f"{label}: {doubt}" for doubt in found.preview.doubts]
    pack, started_at = found.preview.pack, found.preview.started_at
    if pack is None or started_at is None:
        raise ImportRefusedError(
            [BadRow(str(path), 2, "pack" if pack is None else "started_at", "is empty; it is needed in the first row.")]
        )
    trace = replace(found.trace(pack, started_at), file_name=Path(label).name)
    for column, words in _problems(records, trace):
        raise ImportRefusedError([BadRow(str(path), 2, column, f"{words.removesuffix('.')}.")])
    stored = records.trace(pack, started_at)
    if stored is not None and is_same(stored, trace):
        return "unchanged"
    if stored is not None:
        trace = replace(trace, file_name=stored.file_name)
    try:
        keep_trace(records, trace, replace=update)
    except ConflictError as conflict:
        words = "another recording of this run is stored; correct the file, or replace what is stored with --update."
        raise ImportRefusedError([BadRow(str(path), 2, "started_at", words)]) from conflict
    records.mark_stale(pack)
    return "added" if stored is None else "updated"


def _problems(records: Records, trace: Trace) -> list[tuple[str, str]]:
    names = [pack.name for pack in records.packs()]
    if trace.pack not in names:
        return [("pack", unknown("pack", trace.pack, names, "look at the spelling, or describe it in a packs file"))]
    problems = list(time_problems(Run(pack=trace.pack, started_at=trace.started_at, run_s=LEAST_RUN_S), datetime.now(UTC)))
    cells = cell_problem(trace, records.pack(trace.pack).series)
    return [*([("header", cells)] if cells else []), *problems]
