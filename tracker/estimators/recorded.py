"""Recordings as evidence: what one shows by itself, and a run with that beside what was written down by hand."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from tracker.domain.session import Run, Volts
from tracker.domain.trace import Trace, TraceSummary
from tracker.physics.recording import charge_used, load_span, lowest_loaded, rested
from tracker.physics.recording_shape import stretches
from tracker.physics.recording_steps import step_resistance

FloatArray = NDArray[np.float64]

SUMMARY = "1"
"""Version of `summarise`; raised when what it returns means something else, so that summaries are made anew."""
MOST_STRETCHES = 200
"""A load is kept in so many stretches."""
LEAST_REST_AFTER_S = 60.0
"""Sooner after the load a voltage says less than what is known without it."""
LEAST_REST_BEFORE_S = 2.0
TOTAL_AGREES = 0.05
"""A total written down by hand is taken for that of the recorded cells when it is no further from their sum, relative."""


@dataclass(frozen=True, kw_only=True, slots=True)
class RecordedRun(Run):
    """A run with what its recording adds.

    Attributes
    ----------
    recorded_ah, recorded_sd_ah : float or None
        Charge by the recording, and what gaps in it leave open [Ah]
    step_ohm, step_sd_ohm : tuple[float, ...]
        Resistance from steps of current: of each cell, or of the pack [ohm]
    """

    recorded_ah: float | None = None
    recorded_sd_ah: float = 0.0
    step_ohm: tuple[float, ...] = ()
    step_sd_ohm: tuple[float, ...] = ()


def summarise(trace: Trace) -> TraceSummary:
    """What a recording shows by itself.

    Parameters
    ----------
    trace : Trace
        The recording [1]

    Returns
    -------
    TraceSummary
        Charge, lowest and rested voltages, resistance, the load in stretches [1]

    References
    ----------
    .. [1] Formulas and their references are in `tracker/physics/recording.py`.
    """
    charge = charge_used(trace.time_s, trace.current_a)
    used_ah = charge.used_ah if np.isfinite(charge.used_ah) else None
    span = load_span(trace.current_a)
    if span is None:
        return TraceSummary(used_ah=used_ah, gap_s=charge.gap_s, gap_sd_ah=charge.gap_sd_ah)
    by_cell = trace.cell_v.shape[1] > 0 and bool(np.isfinite(trace.cell_v).any(axis=0).all())
    volts = trace.cell_v if by_cell else trace.pack_v[:, None]
    lowest_v, lowest_a = lowest_loaded(volts, trace.current_a, span)
    (before_v, before_s), (after_v, after_s) = rested(trace.time_s, volts, span)
    steps = step_resistance(trace.time_s, volts, trace.current_a)
    run = slice(span.first, span.last + 1)
    within = charge_used(trace.time_s[run], trace.current_a[run])
    run_s = float(trace.time_s[span.last] - trace.time_s[span.first])
    duration_s, current_a = stretches(trace.time_s[run], trace.current_a[run], MOST_STRETCHES)
    warm = trace.pack_k[run] if len(trace.pack_k) else np.zeros(0)
    known_steps = bool(np.isfinite(steps.ohm).all())
    return TraceSummary(
        used_ah=used_ah,
        gap_s=charge.gap_s,
        gap_sd_ah=charge.gap_sd_ah,
        run_s=run_s,
        mean_a=within.used_ah * 3600.0 / run_s if run_s > 0 and np.isfinite(within.used_ah) else None,
        peak_a=float(np.nanmax(trace.current_a[run])),
        loaded_v=_volts(lowest_v),
        loaded_a=float(lowest_a[int(np.argmin(lowest_v))]) if np.isfinite(lowest_v).all() else None,
        before_v=_volts(before_v) if before_s >= LEAST_REST_BEFORE_S else (),
        before_rest_s=before_s,
        after_v=_volts(after_v) if after_s > 0 else (),
        after_rest_s=after_s,
        step_ohm=tuple(steps.ohm.tolist()) if known_steps else (),
        step_sd_ohm=tuple(steps.sd_ohm.tolist()) if known_steps else (),
        pack_k=float(np.nanmean(warm)) if np.isfinite(warm).any() else None,
        stretch_s=tuple(duration_s.tolist()),
        stretch_a=tuple(current_a.tolist()),
    )


def with_recording(run: Run, summary: TraceSummary, series: int) -> RecordedRun:
    """A run as written down, with what was not written down taken from its recording.

    Parameters
    ----------
    run : Run
        As written down [1]
    summary : TraceSummary
        What its recording shows [1]
    series : int
        Cells of the pack [1]

    Returns
    -------
    RecordedRun
        What was written down by hand keeps its say [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    written = {field.name: getattr(run, field.name) for field in fields(Run)}
    if not run.before_v:
        written["before_v"] = _fitting(summary.before_v, series)
    loaded_v = _fitting(summary.loaded_v, series)
    if loaded_v and (not run.loaded_v or _is_its_total(run.loaded_v, loaded_v)):
        written["loaded_v"] = loaded_v
        written["loaded_a"] = run.loaded_a if run.loaded_v and run.loaded_a is not None else summary.loaded_a
    if not run.after_v and summary.after_rest_s >= LEAST_REST_AFTER_S:
        after_v = _fitting(summary.after_v, series)
        if after_v:
            written["after_v"], written["rest_after_s"] = after_v, summary.after_rest_s
    if run.mean_a is None and summary.mean_a is not None and summary.mean_a > 0:
        written["mean_a"] = summary.mean_a
    if run.pack_k is None:
        written["pack_k"] = summary.pack_k
    fits = len(summary.step_ohm) in (1, series)
    return RecordedRun(
        **written,
        recorded_ah=summary.used_ah if summary.used_ah is not None and summary.used_ah > 0 else None,
        recorded_sd_ah=summary.gap_sd_ah,
        step_ohm=summary.step_ohm if fits else (),
        step_sd_ohm=summary.step_sd_ohm if fits else (),
    )


def _volts(found: FloatArray) -> Volts:
    return tuple(found.tolist()) if np.isfinite(found).all() and (found > 0).all() else ()


def _fitting(volts: Volts, series: int) -> Volts:
    return volts if len(volts) in (1, series) else ()


def _is_its_total(by_hand: Volts, cells: Volts) -> bool:
    return len(by_hand) == 1 and len(cells) > 1 and abs(sum(cells) / by_hand[0] - 1.0) <= TOTAL_AGREES
