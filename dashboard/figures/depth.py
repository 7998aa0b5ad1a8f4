"""How deep every run took every cell: one panel a cell, full at the top, empty at the bottom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from dashboard.components.marks import GRADE_WORDS
from dashboard.figures.chart import Chart, Trace, scatter
from dashboard.figures.template import BLUE, GREY, ORANGE, WASH
from dashboard.figures.thinning import evenly
from dashboard.theme import NB, clock, counted, day, interval, percent
from tracker.domain.results import AssessedRun, CellDepth, Estimate

PANEL_PX = 132
EDGES_PX = 64
BOTTOM = 1.1
LEAST_APART = 0.15
"""Below this the words for reserve and empty would lie on each other."""
TOP = -0.07

SHAPES = {"fine": "circle-open", "low": "diamond", "deep": "triangle-down", "damaging": "x"}
"""Each grade has a shape of its own, fuller the worse it is."""
COLOURS = {"fine": BLUE, "low": BLUE, "deep": ORANGE, "damaging": ORANGE}
SIZES = {"fine": 8, "low": 9, "deep": 11, "damaging": 11}


@dataclass(frozen=True, slots=True)
class DepthPoint:
    """How deep one run took one cell."""

    index: int
    cell: int
    at: datetime
    depth: Estimate
    grade: str | None


def depth_points(runs: Sequence[AssessedRun]) -> list[DepthPoint]:
    """Every depth that could be told, counted by the run's place in time order."""
    return [
        DepthPoint(index, cell.cell, assessed.run.started_at, depth, cell.grade)
        for index, assessed in enumerate(runs)
        for cell in assessed.estimate.cells
        if (depth := depth_of(cell)) is not None
    ]


def depth_of(cell: CellDepth) -> Estimate | None:
    """Depth of discharge of a cell after a run, where its charge is known."""
    soc = cell.soc_after
    if not isinstance(soc, Estimate):
        return None
    return Estimate(value=1 - soc.value, low=1 - soc.high, high=1 - soc.low, sd=soc.sd)


def depth_height_px(cells: int) -> int:
    """Height that gives every cell a panel readable on a phone."""
    return cells * PANEL_PX + EDGES_PX


def depth_figure(runs: Sequence[AssessedRun], cells: int, reserve_soc: float) -> Chart:
    """One panel a cell: a mark a run with its 90 % interval, the reserve as a line, the grade as the mark's shape."""
    figure = Chart()
    points = depth_points(runs)
    for cell in range(1, cells + 1):
        mine = [point for point in points if point.cell == cell]
        figure.add_traces([_trace(mine, cell)])
        figure.update_layout({_axis("yaxis", cell): _panel(cell, cells, reserve_soc)})
        _mark_reserve(figure, cell, reserve_soc)
        _head(figure, f"<b>Cell {cell}</b>", cell, cells, "left")
        _name_worst(figure, mine, cell, cells)
    ticks = evenly(len(runs), 4)
    figure.update_xaxis(
        range=[-0.7, max(len(runs), 4) - 0.3],
        tickvals=ticks,
        ticktext=_days([runs[tick].run.started_at for tick in ticks]),
        tickangle=0,
        anchor=f"y{cells}" if cells > 1 else "y",
    )
    return figure


def depth_sentence(runs: Sequence[AssessedRun], of: int) -> str:
    """What the chart shows, in a sentence or two."""
    shown = f"The last {len(runs)} of {of:,} runs" if len(runs) < of else ("The only run" if of == 1 else f"All {of:,} runs")
    points = depth_points(runs)
    if not points:
        return f"{shown}: not one has enough written down to tell how deep it went."
    worst = max(points, key=lambda point: point.depth.value)
    harmed = {point.index for point in points if point.grade in {"deep", "damaging"}}
    reserve = {point.index for point in points if point.grade == "low"} - harmed
    blank = len(runs) - len({point.index for point in points})
    said = [
        f"{shown}, one mark a run with its 90{NB}% interval.",
        f"{_so_many(len(harmed))} went too deep" + (f" and {_so_many(len(reserve)).lower()} into the reserve." if reserve else "."),
        f"Deepest: cell {worst.cell}, {percent(worst.depth.value)} on {day(worst.at)}.",
    ]
    if blank:
        said.append(f"{counted(blank, 'run')} without enough to say {'is' if blank == 1 else 'are'} left out.")
    return " ".join(said)


def depth_table(runs: Sequence[AssessedRun], cells: int) -> tuple[list[str], list[list[str]]]:
    """Columns and rows of the same numbers, newest run first."""
    columns = ["Run", *(f"Cell {cell}" for cell in range(1, cells + 1))]
    rows = []
    for assessed in reversed(runs):
        depths = {cell.cell: (depth_of(cell), cell.grade) for cell in assessed.estimate.cells}
        rows.append([clock(assessed.run.started_at), *(_words(*depths.get(cell, (None, None))) for cell in range(1, cells + 1))])
    return columns, rows


def _words(depth: Estimate | None, grade: str | None) -> str:
    if depth is None:
        return "no estimate"
    return interval(depth, "share") + (f", {GRADE_WORDS.get(grade, grade)}" if grade else "")


def _trace(points: Sequence[DepthPoint], cell: int) -> Trace:
    grades = [point.grade or "fine" for point in points]
    colours = [COLOURS.get(grade, GREY) for grade in grades]
    return scatter(
        x=[point.index for point in points],
        y=[point.depth.value for point in points],
        yaxis=f"y{cell}" if cell > 1 else "y",
        mode="markers",
        cliponaxis=False,
        marker={
            "symbol": [SHAPES.get(grade, "circle-open") for grade in grades],
            "size": [SIZES.get(grade, 8) for grade in grades],
            "color": colours,
            "opacity": 1,
            "line": {"width": 1.5, "color": colours},
        },
        error_y={
            "type": "data",
            "symmetric": False,
            # The axis runs downwards in looks only: plus is still towards deeper.
            "array": [point.depth.high - point.depth.value for point in points],
            "arrayminus": [point.depth.value - point.depth.low for point in points],
            "color": GREY,
            "thickness": 1.2,
            "width": 0,
        },
        text=[f"Cell {cell}, {clock(point.at)}<br>{_words(point.depth, point.grade)}" for point in points],
        hovertemplate="%{text}<extra></extra>",
    )


def _panel(cell: int, cells: int, reserve_soc: float) -> dict[str, object]:
    height = 1 / cells
    top = 1 - (cell - 1) * height
    marks = [(0.0, "full"), (0.5, "half"), (1 - reserve_soc, "reserve"), (1.0, "empty")]
    if reserve_soc < LEAST_APART:
        marks.pop()
    return {
        "domain": [top - height * 0.84, top],
        "range": [BOTTOM, TOP],
        "tickvals": [place for place, _ in marks],
        "ticktext": [word for _, word in marks],
        "fixedrange": True,
    }


def _mark_reserve(figure: Chart, cell: int, reserve_soc: float) -> None:
    """The reserve as a line, and everything past it washed with colour."""
    yref = f"y{cell}" if cell > 1 else "y"
    across = {"xref": "paper", "x0": 0, "x1": 1, "yref": yref, "layer": "below"}
    figure.add_shape(type="rect", y0=1 - reserve_soc, y1=BOTTOM, fillcolor=WASH, line={"width": 0}, **across)
    figure.add_shape(type="line", y0=1 - reserve_soc, y1=1 - reserve_soc, line={"color": ORANGE, "width": 1.5}, **across)


def _name_worst(figure: Chart, points: Sequence[DepthPoint], cell: int, cells: int) -> None:
    """The day of the newest run of the worst grade, in the panel's own head."""
    for grade in ("damaging", "deep"):
        days = [point.at for point in points if point.grade == grade]
        if days:
            _head(figure, f"last {GRADE_WORDS[grade]}: {day(days[-1], year=False)}", cell, cells, "right")
            return


def _head(figure: Chart, text: str, cell: int, cells: int, side: str) -> None:
    place = {"xref": "paper", "x": 1 if side == "right" else 0, "xanchor": side, "yref": "paper", "y": 1 - (cell - 1) / cells}
    figure.add_annotation(text=text, yanchor="bottom", showarrow=False, **place)


def _axis(stem: str, number: int) -> str:
    return f"{stem}{number}" if number > 1 else stem


def _days(moments: Sequence[datetime]) -> list[str]:
    """Days, with the year under the first of them and under each that is in another year than the one before."""
    years = [moment.astimezone().year for moment in moments]
    told = len(set(years)) > 1
    return [
        day(moment, year=False) + (f"<br>{year}" if told and (index == 0 or year != years[index - 1]) else "")
        for index, (moment, year) in enumerate(zip(moments, years, strict=True))
    ]


def _so_many(number: int) -> str:
    return "None" if number == 0 else f"{number:,}"
