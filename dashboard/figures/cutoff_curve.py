"""What every cutoff risks and leaves: chance that a cell goes below its floor, and run time, over the same cutoffs."""

from __future__ import annotations

from collections.abc import Sequence
from math import log10

from dashboard.figures.chart import PLAIN, Chart, Part, chart_of
from dashboard.figures.template import BLUE, GREEN, GREY, ORANGE
from dashboard.theme import NB, mah, number, risk, volts
from tracker.domain.planning import CutoffPlan, CutoffPoint

HEIGHT_PX, LEFT_PX = 470, 78
LEAST_RISK = 0.0005
"""Drawn for cutoffs at which no draw went below the floor: one in 2,000 is the least that can show."""
SURE = 0.995
KEPT_V = 0.3
"""So much of the cutoffs at which harm is certain is drawn."""
UPPER, LOWER = (0.56, 0.95), (0.0, 0.39)


def cutoff_figure(plan: CutoffPlan) -> Chart:
    """Two panels over one axis of cutoffs, the advised one as a line through both."""
    points = drawn_points(plan.curve)
    pack_v = [point.pack_v for point in points]
    said = [_words(point, plan.series) for point in points]
    common = {"type": "scatter", "x": pack_v, "mode": "lines+markers", "text": said, "hovertemplate": "%{text}<extra></extra>"}
    traces = [
        {**common, "y": [max(point.below_floor_probability, LEAST_RISK) for point in points], **_look(ORANGE, "circle")},
        {**common, "y": [point.run_s / 60 for point in points], "yaxis": "y2", **_look(BLUE, "square")},
    ]
    advised_line, advised_words = _advised(plan, pack_v)
    room = 0.03 * max(pack_v[-1] - pack_v[0], 0.1)
    return chart_of(
        traces,
        {
            "xaxis": {
                "range": [pack_v[0] - room, pack_v[-1] + room],
                "ticksuffix": f"{NB}V",
                "tickformat": ".1f",
                "nticks": 5,
                "tickangle": 0,
                "anchor": "y2",
            },
            "yaxis": {
                "domain": UPPER,
                "type": "log",
                "range": [-3.4, 0.12],
                "tickvals": [LEAST_RISK, 0.01, 0.1, 1.0],
                "ticktext": ["none seen", f"1{NB}%", f"10{NB}%", f"100{NB}%"],
            },
            "yaxis2": {
                "domain": LOWER,
                "range": [0, max(1.0, 1.08 * max(point.run_s for point in points) / 60)],
                "ticksuffix": f"{NB}min",
                "nticks": 5,
                "fixedrange": True,
            },
            "margin": {"l": LEFT_PX, "b": 46},
            "shapes": [_wanted_line(plan.task.risk), *advised_line],
            "annotations": [
                _head("<b>Chance that a cell goes below its floor</b>", 1.0),
                _head("<b>Run time until it lets go</b>", 0.435),
                {
                    **PLAIN,
                    "text": "cutoff of the pack",
                    "xref": "paper",
                    "x": 0.5,
                    "yref": "paper",
                    "y": 0,
                    "yshift": -46,
                    "yanchor": "bottom",
                },
                _wanted_words(plan.task.risk),
                *advised_words,
            ],
        },
    )


def drawn_points(curve: Sequence[CutoffPoint]) -> list[CutoffPoint]:
    """Those worth looking at: of the cutoffs at which harm is certain only the last few."""
    sure = [point.pack_v for point in curve if point.below_floor_probability > SURE]
    kept = [point for point in curve if not sure or point.pack_v >= max(sure) - KEPT_V]
    return kept if len(kept) > 1 else list(curve)


def cutoff_sentence(plan: CutoffPlan) -> str:
    """What the chart shows."""
    first, last = plan.curve[0], plan.curve[-1]
    trade = (
        f"From {volts(first.pack_v)} to {volts(last.pack_v)} the risk goes from {risk(first.below_floor_probability)} to "
        f"{risk(last.below_floor_probability)}, and the run time from {_minutes(first.run_s)} to {_minutes(last.run_s)}."
    )
    if plan.recommended is None:
        return f"No cutoff here keeps the risk at {risk(plan.task.risk)} or less. {trade}"
    return (
        f"Higher is safer and ends the run sooner; the line is the lowest cutoff that keeps to the wanted {risk(plan.task.risk)}. {trade}"
    )


def cutoff_table(plan: CutoffPlan) -> tuple[list[str], list[list[str]]]:
    """Columns and rows of the same numbers."""
    advised = None if plan.recommended is None else plan.recommended.pack_v
    rows = [
        [
            volts(point.pack_v) + (", advised" if point.pack_v == advised else ""),
            volts(point.pack_v / plan.series),
            risk(point.below_floor_probability),
            mah(point.usable_ah),
            _minutes(point.run_s),
        ]
        for point in plan.curve
    ]
    return ["Cutoff", "A cell", "Risk", "Charge to use", "Run time"], rows


def _words(point: CutoffPoint, series: int) -> str:
    return (
        f"{volts(point.pack_v)}, {volts(point.pack_v / series)} a cell<br>risk {risk(point.below_floor_probability)}"
        f"<br>{mah(point.usable_ah)}, {_minutes(point.run_s)}"
    )


def _minutes(time_s: float) -> str:
    return number(time_s / 60, 1 if time_s < 600 else 0) + f"{NB}min"


def _look(colour: str, symbol: str) -> Part:
    return {"line": {"width": 2.2, "color": colour}, "marker": {"size": 6, "color": colour, "symbol": symbol}}


def _head(text: str, height: float) -> Part:
    place = {"xref": "paper", "x": 0, "xshift": -LEFT_PX + 4, "xanchor": "left", "yref": "paper", "y": height, "yanchor": "middle"}
    return {**PLAIN, "text": text, **place}


def _wanted_line(wanted: float) -> Part:
    """The wanted risk as a line across the upper panel."""
    across = {"xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": wanted, "y1": wanted}
    return {"type": "line", "line": {"color": GREY, "width": 1.5, "dash": "dot"}, "layer": "below", **across}


def _wanted_words(wanted: float) -> Part:
    """Named at its end, where the curve has gone under it."""
    # Heights on a logarithmic axis are given as powers for words, and as they are for lines.
    place = {"xref": "paper", "x": 1, "xanchor": "right", "yref": "y", "y": log10(wanted), "yanchor": "bottom"}
    return {**PLAIN, "text": f"wanted {risk(wanted)}", **place}


def _advised(plan: CutoffPlan, pack_v: Sequence[float]) -> tuple[list[Part], list[Part]]:
    """The advised cutoff as a line through both panels, and its name above; nothing where there is none."""
    if plan.recommended is None:
        return [], []
    at = plan.recommended.pack_v
    line = {
        "type": "line",
        "xref": "x",
        "x0": at,
        "x1": at,
        "yref": "paper",
        "y0": 0,
        "y1": UPPER[1],
        "line": {"color": GREEN, "width": 2.5},
    }
    left = at - pack_v[0] < 0.5 * (pack_v[-1] - pack_v[0])
    # Between the panels, where neither curve runs.
    place = {
        "xref": "x",
        "x": at,
        "xanchor": "left" if left else "right",
        "xshift": 6 if left else -6,
        "yref": "paper",
        "y": UPPER[0],
        "yanchor": "top",
    }
    return [line], [{**PLAIN, "text": f"<b>advised {volts(at)}</b>", **place}]
