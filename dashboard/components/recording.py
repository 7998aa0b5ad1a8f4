"""The recording of a run on its page: the chart, a part of it looked at more closely, and what it shows in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import Patch, dcc, html
from dash.development.base_component import Component

from dashboard.components.aria import aria
from dashboard.components.figure import figure_frame, graph
from dashboard.components.table import folded_table
from dashboard.figures.recording import (
    HEIGHT_PX,
    levels_of,
    line_data,
    recording_figure,
    recording_sentence,
    recording_table,
    span_words,
    whole_range,
)
from tracker.domain.results import EvidenceVote
from tracker.domain.session import Run
from tracker.domain.trace import Trace

CHART, SHOWN, SAID = "run-recording", "run-recording-shown", "run-recording-said"
BUTTONS = {"closer": "Closer", "wider": "Wider", "earlier": "Earlier", "later": "Later", "whole": "Whole run"}
LEAST_SPAN_MIN = 2 / 60


def recording_section(trace: Trace, run: Run, evidence: Sequence[EvidenceVote], series: int, floor_v: float) -> Component:
    """Chart, sentence and table of a recording."""
    levels = levels_of(trace.cell_v.shape[1], series, floor_v, run.cutoff_v)
    columns, rows = recording_table(trace)
    low, high = whole_range(trace)
    kept = {"pack": trace.pack, "at": trace.started_at.isoformat(), "whole": [low, high], "shown": [low, high]}
    buttons = [html.Button(words, id=f"{CHART}-{name}", type="button") for name, words in BUTTONS.items()]
    return html.Div(
        [
            html.H3("As recorded"),
            dcc.Store(id=SHOWN, data=kept),
            html.Div(
                [*buttons, html.Span("", id=SAID, role="status", className="quiet")],
                className="span-buttons",
                role="group",
                **aria(label="Part of the recording"),
            ),
            figure_frame(
                graph(CHART, recording_figure(trace, levels), HEIGHT_PX),
                recording_sentence(trace, evidence),
                folded_table("Recording of this run", columns, rows),
                description="Chart of the voltages and the current recorded during this run",
            ),
        ]
    )


def asked_span(triggered: str, relayout: dict[str, Any] | None, shown: Sequence[float], whole: Sequence[float]) -> list[float] | None:
    """The part of a recording [min] that a button or the dragging over the chart asks for; None where it asks for none."""
    low, high = shown
    name = triggered.removeprefix(f"{CHART}-")
    if name == "whole":
        return list(whole)
    if name in BUTTONS:
        quarter, half = (high - low) / 4, (high - low) / 2
        asked = {
            "closer": (low + quarter, high - quarter),
            "wider": (low - half, high + half),
            "earlier": (low - half, high - half),
            "later": (low + half, high + half),
        }[name]
        return _within(*asked, whole)
    if not relayout:
        return None
    if relayout.get("xaxis.autorange"):
        return list(whole)
    ends = [relayout.get("xaxis.range[0]"), relayout.get("xaxis.range[1]")]
    if not all(isinstance(end, int | float) for end in ends):
        return None
    return _within(float(ends[0] or 0), float(ends[1] or 0), whole)


def zoomed(trace: Trace, span: Sequence[float]) -> Patch:
    """What is new in the chart when another part is looked at: the readings, and the ends of the time axis."""
    patch = Patch()
    for place, (x, y) in enumerate(line_data(trace)):
        patch["data"][place]["x"], patch["data"][place]["y"] = x, y
    patch["layout"]["xaxis"]["range"] = list(span)
    return patch


def span_said(shown: Sequence[float], whole: Sequence[float]) -> str:
    """Which part is shown."""
    if list(shown) == list(whole):
        return "The whole recording is shown."
    return f"Shown: {span_words(shown[0] * 60)} to {span_words(shown[1] * 60)}."


def _within(low: float, high: float, whole: Sequence[float]) -> list[float]:
    """The same length, moved inside the recording, neither longer than it nor too short to see."""
    first, last = whole
    span = min(max(high - low, min(LEAST_SPAN_MIN, last - first)), last - first)
    start = min(max((low + high - span) / 2, first), last - span)
    return [start, start + span]
