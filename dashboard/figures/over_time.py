"""One quantity of every cell over time: a panel a cell, all on one scale, each beside the mean of the other cells."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import fmean

from dashboard.figures.chart import Chart, Trace, scatter
from dashboard.figures.template import BAND, BLUE, EDGE, GREY
from dashboard.figures.thinning import MOST_ROWS, evenly
from dashboard.reading import reading
from dashboard.theme import Measure, clock, in_unit, interval
from tracker.domain.health import HealthPoint
from tracker.domain.results import Estimate, Quantity

PANEL_PX, LOW_PANEL_PX = 118, 92
MANY_CELLS = 6
"""From more cells than this on the panels are lower, so that a pack still fits on a few screens."""
HEAD_PX = 24
TOP_PX, BOTTOM_PX = 26, 50
SHORT = 22
"""A longer value leaves no room on a phone for words beside it."""
MOST_DRAWN, MOST_OF_A_CELL = 1500, 200
"""Points of all cells together, and of one: what is known moves smoothly, so that more would only make the page slow."""
MARKED = 60
"""Up to so many points of a cell each has a mark of its own."""
LEAST_SPAN = 0.25
"""The scale spans at least this share of the values, so that small changes look small."""

Pick = Callable[[HealthPoint], tuple[Quantity, ...]]


@dataclass(frozen=True, slots=True)
class CellSeries:
    """What is known of one cell, in time order, where it is known."""

    cell: int
    at: tuple[datetime, ...]
    known: tuple[Estimate, ...]
    others: tuple[float | None, ...]
    """Mean of the other cells at the same time, where any is known."""


@dataclass(frozen=True, slots=True)
class Level:
    """A value every panel is marked at, and the word for it."""

    value: float
    word: str
    colour: str
    dash: str = "solid"


def cell_series(points: Sequence[HealthPoint], pick: Pick, cells: int) -> list[CellSeries]:
    """A series for every cell, of no more points than can be seen."""
    shown = [points[place] for place in evenly(len(points), min(MOST_OF_A_CELL, max(2, MOST_DRAWN // max(cells, 1))))]
    series = []
    for place in range(cells):
        told = [
            (point.at, known, _mean(pick(point)[:place] + pick(point)[place + 1 :]))
            for point in shown
            if place < len(pick(point)) and isinstance(known := pick(point)[place], Estimate)
        ]
        series.append(
            CellSeries(place + 1, tuple(at for at, _, _ in told), tuple(one for _, one, _ in told), tuple(mean for _, _, mean in told))
        )
    return series


def tick_words() -> list[dict[str, object]]:
    """What a tick says follows from how long a time the axis spans; the year stands once under the first it holds for."""
    plain = reading().days == "iso"
    a_day, a_month = ("%m-%d", "%m") if plain else ("%-d %b", "%b")
    return [
        {"dtickrange": [None, 43_200_000], "value": "%H:%M\n%Y-%m-%d" if plain else "%H:%M\n%-d %b %Y"},
        {"dtickrange": [43_200_000, "M1"], "value": f"{a_day}\n%Y"},
        {"dtickrange": ["M1", "M12"], "value": f"{a_month}\n%Y"},
        {"dtickrange": ["M12", None], "value": "%Y"},
    ]


def panels_height_px(cells: int) -> int:
    """Height that gives every cell a panel readable on a phone."""
    return cells * _panel_px(cells) - HEAD_PX + TOP_PX + BOTTOM_PX


def panels_figure(
    series: Sequence[CellSeries], measure: Measure, now: Sequence[Quantity], *, levels: Sequence[Level] = (), words: dict[int, str]
) -> Chart:
    """A line a cell with its 90 % interval, the mean of the others dashed; what it is now and what there is to say stands above it."""
    figure = Chart()
    cells = len(series)
    low, high = value_range(series, [level.value for level in levels])
    for one in series:
        figure.add_traces(_traces(one, measure))
        figure.update_layout({_axis("yaxis", one.cell): _panel(one.cell, cells, in_unit(low, measure), in_unit(high, measure))})
        axis = figure.layout[_axis("yaxis", one.cell)]
        if levels:
            axis.update(tickvals=[in_unit(level.value, measure) for level in levels], ticktext=[level.word for level in levels])
        else:
            axis.update(nticks=3, ticksuffix=" mΩ" if measure == "resistance" else "")
        for level in levels:
            _mark(figure, one.cell, in_unit(level.value, measure), level)
        known = now[one.cell - 1] if one.cell <= len(now) else None
        value = interval(known, measure) if isinstance(known, Estimate) else "not known"
        said = f", {words[one.cell]}" if one.cell in words and len(value) <= SHORT else ""
        _head(figure, f"<b>Cell {one.cell}</b>{said}", one.cell, cells, "left")
        _head(figure, value, one.cell, cells, "right")
    figure.update_layout(margin={"t": TOP_PX, "b": BOTTOM_PX})
    figure.update_xaxis(
        type="date", nticks=5, tickangle=0, tickformatstops=tick_words(), anchor=_axis("y", cells), range=_time_range(series)
    )
    return figure


def value_range(series: Sequence[CellSeries], levels: Sequence[float] = ()) -> tuple[float, float]:
    """The ends of a scale for all cells: every value, and of the intervals as much as leaves the values readable."""
    values = [known.value for one in series for known in one.known] + list(levels)
    lowest, highest = min(values), max(values)
    span = max(highest - lowest, LEAST_SPAN * max(abs(highest), abs(lowest), 1e-9))
    middle = (lowest + highest) / 2
    ends = [end for one in series for known in one.known for end in (known.low, known.high)]
    low = min(lowest, max(min(ends, default=lowest), middle - span), middle - span / 2)
    high = max(highest, min(max(ends, default=highest), middle + span), middle + span / 2)
    room = 0.05 * (high - low)
    return low - room, high + room


def over_time_table(
    points: Sequence[HealthPoint], pick: Pick, cells: int, measure: Measure, more: Sequence[tuple[str, Callable[[HealthPoint], str]]] = ()
) -> tuple[list[str], list[list[str]]]:
    """Columns and rows of the same numbers, newest first; of very many, so many evenly chosen."""
    columns = ["Up to the run of", "Runs so far", *(f"Cell {cell}" for cell in range(1, cells + 1)), *(title for title, _ in more)]
    rows = []
    for place in reversed(evenly(len(points), MOST_ROWS)):
        point = points[place]
        known = [pick(point)[cell] if cell < len(pick(point)) else None for cell in range(cells)]
        rows.append(
            [
                clock(point.at),
                f"{point.runs:,}",
                *(interval(one, measure) if isinstance(one, Estimate) else "no estimate" for one in known),
                *(word(point) for _, word in more),
            ]
        )
    return columns, rows


def lowest_under_others(quantities: Sequence[Quantity]) -> tuple[int, float] | None:
    """The cell with the least of it, and by what share it lies under the mean of the others; None with fewer than two known."""
    known = [(one.value, place + 1) for place, one in enumerate(quantities) if isinstance(one, Estimate)]
    if len(known) < 2:
        return None
    value, cell = min(known)
    mean = fmean(other for other, place in known if place != cell)
    return (cell, 1 - value / mean) if mean > 0 else None


def _mean(quantities: Sequence[Quantity]) -> float | None:
    known = [one.value for one in quantities if isinstance(one, Estimate)]
    return fmean(known) if known else None


def _traces(one: CellSeries, measure: Measure) -> list[Trace]:
    yaxis = _axis("y", one.cell)
    at = [_local(moment) for moment in one.at]
    low, value, high = ([in_unit(end, measure) for end in ends] for ends in _ends(one))
    traces = []
    if len(at) > 1:
        traces.append(
            scatter(
                x=at + at[::-1],
                y=high + low[::-1],
                yaxis=yaxis,
                mode="lines",
                fill="toself",
                fillcolor=BAND,
                line={"width": 0.8, "color": EDGE},
                hoverinfo="skip",
            )
        )
    if any(mean is not None for mean in one.others):
        others = [None if mean is None else in_unit(mean, measure) for mean in one.others]
        traces.append(
            scatter(x=at, y=others, yaxis=yaxis, mode="lines", line={"width": 1.6, "color": GREY, "dash": "dash"}, hoverinfo="skip")
        )
    traces.append(
        scatter(
            x=at,
            y=value,
            yaxis=yaxis,
            mode="lines+markers" if len(at) <= MARKED else "lines",
            line={"width": 2.2, "color": BLUE},
            marker={"size": 5 if len(at) > 1 else 8, "color": BLUE, "opacity": 1},
            error_y=_arms(low, value, high) if len(at) == 1 else None,
            text=[
                f"Cell {one.cell}, up to the run of {clock(moment)}<br>{interval(known, measure)}"
                for moment, known in zip(one.at, one.known, strict=True)
            ],
            hovertemplate="%{text}<extra></extra>",
        )
    )
    return traces


def _ends(one: CellSeries) -> tuple[list[float], list[float], list[float]]:
    return [known.low for known in one.known], [known.value for known in one.known], [known.high for known in one.known]


def _arms(low: Sequence[float], value: Sequence[float], high: Sequence[float]) -> dict[str, object]:
    """A single point has no band to stand in: its interval is drawn as arms."""
    return {"type": "data", "symmetric": False, "array": [high[0] - value[0]], "arrayminus": [value[0] - low[0]], "color": BLUE, "width": 6}


def _time_range(series: Sequence[CellSeries]) -> list[str]:
    """From the first to the last moment, with a day around what is known of one moment only."""
    moments = [moment for one in series for moment in one.at]
    first, last = min(moments), max(moments)
    room = (last - first) * 0.02 or timedelta(hours=12)
    return [_local(first - room), _local(last + room)]


def _panel(cell: int, cells: int, low: float, high: float) -> dict[str, object]:
    top = _top(cell, cells)
    # The lowest panel ends at the axis exactly; a rounding error below it would be refused.
    bottom = top - (_panel_px(cells) - HEAD_PX) / _inner_px(cells) if cell < cells else 0.0
    return {"domain": [bottom, top], "range": [low, high], "fixedrange": True}


def _top(cell: int, cells: int) -> float:
    """Upper edge of a cell's panel, as a share of the height of all of them; its head stands above it."""
    return 1 - (cell - 1) * _panel_px(cells) / _inner_px(cells)


def _inner_px(cells: int) -> int:
    return cells * _panel_px(cells) - HEAD_PX


def _panel_px(cells: int) -> int:
    """A panel with its head."""
    return PANEL_PX if cells <= MANY_CELLS else LOW_PANEL_PX


def _mark(figure: Chart, cell: int, height: float, level: Level) -> None:
    line = {"color": level.colour, "width": 1.5, "dash": level.dash}
    figure.add_shape(type="line", xref="paper", x0=0, x1=1, yref=_axis("y", cell), y0=height, y1=height, line=line, layer="below")


def _head(figure: Chart, text: str, cell: int, cells: int, side: str) -> None:
    place = {"xref": "paper", "x": 1 if side == "right" else 0, "xanchor": side, "yref": "paper", "y": _top(cell, cells)}
    figure.add_annotation(text=text, yanchor="bottom", showarrow=False, **place)


def _axis(stem: str, number: int) -> str:
    return f"{stem}{number}" if number > 1 else stem


def _local(moment: datetime) -> str:
    """A time as the axis takes it, in the local zone."""
    return moment.astimezone().strftime("%Y-%m-%dT%H:%M:%S")
