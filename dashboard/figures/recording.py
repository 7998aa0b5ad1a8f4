"""What a logger wrote during a run: voltages above, current below, over the minutes since it began."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from plotly.graph_objects import Figure, Scatter

from dashboard.figures.template import BLUE, GREEN, GREY, ORANGE, PURPLE, blank_figure
from dashboard.figures.thinning import MOST_ROWS, evenly
from dashboard.theme import NB, interval, measured, number, volts
from tracker.domain.results import Estimate, EvidenceVote
from tracker.domain.trace import Floats, Trace

HEIGHT_PX = 460
MOST_POINTS = 2000
"""Of one line; more cannot be told apart on any screen."""
HIGHEST_CELL_V = 5.0
"""A cutoff up to here is one of a cell."""
OTHERS = ((BLUE, "solid"), (GREEN, "dash"), (PURPLE, "dot"), (GREY, "dashdot"))
"""Colours and dashes of the cells that are not the lowest, in turn."""
UPPER, LOWER = (0.47, 0.94), (0.0, 0.36)
LEAST_SPAN_V = 0.5


@dataclass(frozen=True, kw_only=True, slots=True)
class Level:
    """A voltage the readings are held against, and its name."""

    value_v: float
    words: str
    colour: str
    dash: str


def levels_of(cells: int, series: int, floor_v: float, cutoff_v: Sequence[float]) -> list[Level]:
    """The floor, and where the controllers were set, as they stand beside single cells or, where none were recorded, the pack."""
    several = series if cells == 0 else 1
    floor = Level(value_v=floor_v * several, words="floor", colour=GREY, dash="solid")
    found = [floor]
    for setting in sorted(set(cutoff_v)):
        of_cell = setting if setting <= HIGHEST_CELL_V and series > 1 else setting / series
        found.append(Level(value_v=of_cell * several, words=f"cutoff {volts(setting)}", colour=GREY, dash="dash"))
    return found


def lines_of(trace: Trace) -> list[tuple[str, Floats]]:
    """Each voltage with its name: of the cells, or of the pack where they were not recorded."""
    if trace.cell_v.shape[1]:
        return [(f"Cell {place + 1}", trace.cell_v[:, place]) for place in range(trace.cell_v.shape[1])]
    return [("Pack", trace.pack_v)]


def recording_figure(trace: Trace, levels: Sequence[Level]) -> Figure:
    """Two panels over one time; the line that went lowest is the thick one."""
    figure = blank_figure()
    lines, lowest = lines_of(trace), lowest_of(trace)
    rest = iter(OTHERS * len(lines))
    for place, (name, _) in enumerate(lines):
        first = lowest is not None and place == lowest[0]
        colour, dash = (ORANGE, "solid") if first and len(lines) > 1 else next(rest)
        figure.add_trace(
            Scatter(
                mode="lines",
                name=f"{name}, the lowest" if first and len(lines) > 1 else name,
                line={"color": colour, "dash": dash, "width": 2.2 if first else 1.3},
                hovertemplate=f"{name}: %{{y:.2f}}{NB}V at %{{x:.2f}}{NB}min<extra></extra>",
            )
        )
    figure.add_trace(
        Scatter(
            mode="lines",
            name="Current",
            yaxis="y2",
            showlegend=False,
            line={"color": BLUE, "width": 1.3},
            hovertemplate=f"%{{y:.1f}}{NB}A at %{{x:.2f}}{NB}min<extra></extra>",
        )
    )
    for place, (x, y) in enumerate(line_data(trace)):
        figure.data[place].update(x=x, y=y)
    low, high = _voltage_range([values for _, values in lines], levels)
    # A whole recording is a span of its own, so that buttons and dragging start from the same numbers.
    figure.update_xaxes(range=whole_range(trace), fixedrange=False, ticksuffix=f"{NB}min", nticks=5, tickangle=0, anchor="y2")
    figure.update_layout(
        showlegend=len(lines) > 1,
        legend={
            "orientation": "h",
            "x": 0,
            "y": 1.0,
            "yanchor": "bottom",
            "font": {"size": 13},
            "itemclick": False,
            "itemdoubleclick": False,
        },
        yaxis={"domain": UPPER, "range": [low, high], "nticks": 5, "ticksuffix": f"{NB}V", "tickformat": ".2f", "fixedrange": True},
        yaxis2={"domain": LOWER, "nticks": 4, "ticksuffix": f"{NB}A", "fixedrange": True, "range": _current_range(trace)},
        margin={"l": 60, "t": 40, "b": 40, "r": 20},
    )
    for level in levels:
        if low <= level.value_v <= high:
            _mark(figure, level)
    _head(figure, f"<b>Current</b>{', drawn from the pack' if lines else ''}", LOWER[1])
    return figure


def line_data(trace: Trace) -> list[tuple[Floats, Floats]]:
    """Minutes and values of every line, in the order they are drawn: voltages, then the current; short numbers, for they go over the wire."""
    minutes = (trace.time_s / 60).astype(np.float32)
    return [(minutes, values.astype(np.float32)) for values in (*(values for _, values in lines_of(trace)), trace.current_a)]  # type: ignore[misc]


def whole_range(trace: Trace) -> list[float]:
    """From the first reading to the last [min]."""
    return [float(trace.time_s[0]) / 60, max(float(trace.time_s[-1]) / 60, float(trace.time_s[0]) / 60 + 0.01)]


def lowest_of(trace: Trace) -> tuple[int, float, float] | None:
    """Which line went lowest, how low [V], and when [s]; None where no voltage was written."""
    values = np.column_stack([values for _, values in lines_of(trace)])
    if not np.isfinite(values).any():
        return None
    row, place = np.unravel_index(int(np.nanargmin(values)), values.shape)
    return int(place), float(values[row, place]), float(trace.time_s[row])


def recording_sentence(trace: Trace, evidence: Sequence[EvidenceVote]) -> str:
    """What the recording shows."""
    parts = [f"Recorded over {span_words(float(trace.time_s[-1] - trace.time_s[0]))}."]
    counted = next((vote.used_ah for vote in evidence if vote.kind == "trace"), None)
    if isinstance(counted, Estimate):
        parts.append(f"It counts {interval(counted, 'charge')} drawn from the pack.")
    lowest = lowest_of(trace)
    if lowest is not None:
        place, value_v, at_s = lowest
        parts.append(f"{lines_of(trace)[place][0]} was lowest, {volts(value_v)} at {span_words(at_s)}.")
    if np.isfinite(trace.current_a).any():
        row = int(np.nanargmax(trace.current_a))
        parts.append(f"The highest current was {measured(float(trace.current_a[row]), 'amps')}, at {span_words(float(trace.time_s[row]))}.")
    return " ".join(parts)


def recording_table(trace: Trace) -> tuple[list[str], list[list[str]]]:
    """Columns and rows of the same numbers, so many evenly chosen."""
    lines = lines_of(trace)
    columns = ["Time", *(name for name, _ in lines), "Current"]
    rows = [
        [
            span_words(float(trace.time_s[row])),
            *(_told(float(values[row]), "volts") for _, values in lines),
            _told(float(trace.current_a[row]), "amps"),
        ]
        for row in evenly(len(trace.time_s), MOST_ROWS)
    ]
    return columns, rows


def span_words(time_s: float) -> str:
    """Minutes with two decimals, as on the axis."""
    return f"{number(time_s / 60, 2)}{NB}min"


def _told(value: float, measure: str) -> str:
    if not np.isfinite(value):
        return "not recorded"
    return volts(value) if measure == "volts" else measured(value, "amps")


def _voltage_range(lines: Sequence[Floats], levels: Sequence[Level]) -> tuple[float, float]:
    """Every reading, and of the levels those that are not far below them."""
    known = np.concatenate([values[np.isfinite(values)] for values in lines])
    if not len(known):
        return 0.0, 1.0
    low, high = float(known.min()), float(known.max())
    span = max(high - low, LEAST_SPAN_V)
    low = min([low, *(level.value_v for level in levels if low - span <= level.value_v < low)])
    room = 0.06 * (high - low or LEAST_SPAN_V)
    return low - room, high + room


def _current_range(trace: Trace) -> list[float]:
    known = trace.current_a[np.isfinite(trace.current_a)]
    if not len(known):
        return [0.0, 1.0]
    low, high = min(0.0, float(known.min())), max(1.0, float(known.max()))
    return [low - 0.05 * (high - low), high + 0.08 * (high - low)]


def _mark(figure: Figure, level: Level) -> None:
    line = {"color": level.colour, "width": 1.6, "dash": level.dash}
    figure.add_shape(type="line", xref="paper", x0=0, x1=1, yref="y", y0=level.value_v, y1=level.value_v, line=line)
    figure.add_annotation(
        text=level.words, xref="paper", x=1, xanchor="right", yref="y", y=level.value_v, yanchor="bottom", showarrow=False, yshift=1
    )


def _head(figure: Figure, text: str, top: float) -> None:
    figure.add_annotation(text=text, xref="paper", x=0, xanchor="left", yref="paper", y=top, yanchor="bottom", showarrow=False)
