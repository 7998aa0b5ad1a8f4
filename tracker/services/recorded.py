"""Runs with what their recordings show beside what was written down."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from tracker.domain.session import Run
from tracker.domain.trace import TraceSummary
from tracker.estimators.recorded import SUMMARY, summarise, with_recording
from tracker.store.recordings import RunKey
from tracker.store.records import Records


def summaries(records: Records, packs: Sequence[str]) -> dict[RunKey, TraceSummary]:
    """Return what the recordings of these packs show; of one that an earlier version looked at, the recording is looked at again."""
    found: dict[RunKey, TraceSummary] = {}
    for key, summary in records.trace_summaries(packs, SUMMARY).items():
        if summary is not None:
            found[key] = summary
        elif (trace := records.trace(*key)) is not None:
            found[key] = summarise(trace)
    return found


def recorded(records: Records, runs: Sequence[Run], series: Mapping[str, int]) -> list[Run]:
    """Return runs of packs with so many cells in series, each with its recording where there is one."""
    found = summaries(records, sorted({run.pack for run in runs})) if runs else {}
    if not found:
        return list(runs)
    return [
        run if (summary := found.get((run.pack, run.started_at))) is None else with_recording(run, summary, series[run.pack])
        for run in runs
    ]
