"""Recordings of runs: the whole of each, and what is kept beside it to be read quickly."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

import numpy as np
from sqlalchemy import Select, delete, func, insert, select

from tracker.domain.trace import Trace, TraceNote, TraceSummary
from tracker.errors import InputError, NotFoundError, StoreError
from tracker.store.columns import ImpossibleValueError
from tracker.store.room import Room
from tracker.store.tables import PackRow, RunRow, TraceRow
from tracker.store.trace_codec import decode, encode
from tracker.store.wording import plain_errors

RunKey = tuple[str, datetime]


class Recordings(Room):
    """Recordings, each known by the pack and start of the run it belongs to."""

    def trace(self, pack: str, started_at: datetime) -> Trace | None:
        """The recording of that run, if one is stored."""
        row = self.connection.execute(
            _chosen(TraceRow.file_name, TraceRow.cells, TraceRow.digest, TraceRow.payload).where(
                PackRow.name == pack, RunRow.started_at == started_at
            )
        ).first()
        if row is None:
            return None
        file_name, cells, digest, payload = row
        payload = bytes(payload)
        if hashlib.sha256(payload).hexdigest() != digest:
            raise StoreError(
                f"the recording of '{pack}' at {started_at} is damaged and cannot be read; restore a backup, or bring its file in again."
            )
        return _trace_of(pack, started_at, file_name, cells, payload)

    def trace_notes(self) -> tuple[TraceNote, ...]:
        """Which runs have a recording, and how large each is, by pack and time."""
        chosen = _chosen(PackRow.name, RunRow.started_at, TraceRow.rows, TraceRow.span_s, func.length(TraceRow.payload), TraceRow.file_name)
        return tuple(
            TraceNote(pack=pack, started_at=at, rows=rows, span_s=span_s, stored_bytes=size, file_name=file_name)
            for pack, at, rows, span_s, size, file_name in self.connection.execute(chosen.order_by(PackRow.name, RunRow.started_at))
        )

    def trace_summaries(self, packs: Sequence[str] | None, version: str) -> dict[RunKey, TraceSummary | None]:
        """What the recordings of these packs show; None where another version of the method made it."""
        found: dict[RunKey, TraceSummary | None] = {}
        for condition in self._batches(packs):
            chosen = _chosen(PackRow.name, RunRow.started_at, TraceRow.summary_version, TraceRow.summary).where(condition)
            for pack, at, made_by, text in self.connection.execute(chosen.order_by(PackRow.name, RunRow.started_at)):
                found[pack, at] = _summary_of(text) if made_by == version else None
        return found

    def put_trace(self, trace: Trace, summary: TraceSummary, version: str) -> TraceNote:
        """Store the recording of a run that is stored, in place of an earlier one; NotFoundError without that run."""
        _check(trace)
        number = self._recorded_run(trace.pack, trace.started_at)
        payload = encode([trace.time_s, trace.pack_v, trace.current_a, *trace.cell_v.T, *([trace.pack_k] if len(trace.pack_k) else [])])
        row: dict[str, Any] = {
            "run_id": number,
            "rows": len(trace.time_s),
            "span_s": float(trace.time_s[-1]),
            "cells": trace.cell_v.shape[1],
            "file_name": trace.file_name,
            "summary_version": version,
            "summary": _summary_text(summary),
            "digest": hashlib.sha256(payload).hexdigest(),
            "payload": payload,
        }
        with plain_errors(), self.connection.begin_nested():
            self.connection.execute(delete(TraceRow).where(TraceRow.run_id == number))
            self.connection.execute(insert(TraceRow), [row])
        return TraceNote(
            pack=trace.pack,
            started_at=trace.started_at,
            rows=row["rows"],
            span_s=row["span_s"],
            stored_bytes=len(payload),
            file_name=trace.file_name,
        )

    def remove_trace(self, pack: str, started_at: datetime) -> None:
        """Remove the recording of a run; NotFoundError when there is none."""
        number = self._recorded_run(pack, started_at)
        if not self.connection.execute(delete(TraceRow).where(TraceRow.run_id == number)).rowcount:
            raise NotFoundError(f"no recording of '{pack}' at {started_at} is stored; look at the name and the time.")

    def traces(self) -> Iterator[Trace]:
        """All recordings, one at a time, by pack and time."""
        for note in self.trace_notes():
            found = self.trace(note.pack, note.started_at)
            if found is not None:
                yield found

    def _recorded_run(self, pack: str, started_at: datetime) -> int:
        number = self.connection.scalar(select(RunRow.id).where(RunRow.pack_id == self._pack_key(pack).id, RunRow.started_at == started_at))
        if number is None:
            raise NotFoundError(f"no run of '{pack}' at {started_at} is stored; look at the name and the time.")
        return number


def _chosen(*columns: Any) -> Select[Any]:
    return select(*columns).select_from(TraceRow).join(RunRow, RunRow.id == TraceRow.run_id).join(PackRow, PackRow.id == RunRow.pack_id)


def _trace_of(pack: str, started_at: datetime, file_name: str, cells: int, payload: bytes) -> Trace:
    columns = decode(payload)
    if not 3 + cells <= len(columns) <= 4 + cells:
        raise StoreError(f"the recording of '{pack}' at {started_at} lacks columns; restore a backup, or bring its file in again.")
    time_s, pack_v, current_a, *others = columns
    return Trace(
        pack=pack,
        started_at=started_at,
        time_s=time_s,
        pack_v=pack_v,
        current_a=current_a,
        cell_v=np.stack(others[:cells], axis=1) if cells else np.zeros((len(time_s), 0)),
        pack_k=others[cells] if len(others) > cells else np.zeros(0),
        file_name=file_name,
    )


def _check(trace: Trace) -> None:
    rows = len(trace.time_s)
    shapes = {trace.time_s.shape, trace.pack_v.shape, trace.current_a.shape, (trace.cell_v.shape[0],), *({trace.pack_k.shape} - {(0,)})}
    if rows < 1 or shapes != {(rows,)} or trace.cell_v.ndim != 2:
        raise InputError(
            f"the recording of '{trace.pack}' has columns of different lengths; each needs one number for each of {rows} times."
        )
    if trace.time_s[0] < 0 or not np.isfinite(trace.time_s).all() or not (np.diff(trace.time_s) > 0).all():
        raise InputError(f"the times of the recording of '{trace.pack}' do not rise from 0; cut the file where they start anew.")


def _summary_text(summary: TraceSummary) -> str:
    try:
        return json.dumps(asdict(summary), separators=(",", ":"), allow_nan=False)
    except ValueError as error:
        raise ImpossibleValueError(f"what a recording shows holds something that is not a number ({error}).") from error


def _summary_of(text: str) -> TraceSummary:
    found: dict[str, Any] = json.loads(text)
    fields: dict[str, Any] = {name: tuple(value) if isinstance(value, list) else value for name, value in found.items()}
    return TraceSummary(**fields)
