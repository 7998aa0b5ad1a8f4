"""A calendar of the season: a place for every day, a mark on those with runs, shaped by how deep the deepest went."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from dashboard.components.marks import GRADE_WORDS
from dashboard.figures.chart import Chart, scatter
from dashboard.figures.depth import COLOURS, SHAPES
from dashboard.figures.names import chart_name
from dashboard.figures.template import FAINT, GREY
from dashboard.theme import MONTHS, WEEKDAYS, counted, date_words
from tracker.domain.results import GRADES
from tracker.domain.season import SeasonRun

WEEKS = 26
"""Weeks in one row of the calendar: as many as keep a day wide enough for a mark on a phone."""
MOST_ROWS = 4
ROW_PX, EDGES_PX = 176, 40
HEAD = 0.16
"""Share of a row above its days, for the months."""
NAMED_PACKS = 6


@dataclass(frozen=True, slots=True)
class SeasonDay:
    """What happened on one day."""

    day: date
    runs: int
    packs: tuple[str, ...]
    grade: str | None
    """The worst of its runs; None where none could be told."""


def season_days(runs: Sequence[SeasonRun]) -> list[SeasonDay]:
    """The days with runs, in order, by the clock of this place."""
    found: dict[date, list[SeasonRun]] = {}
    for run in runs:
        found.setdefault(run.started_at.astimezone().date(), []).append(run)
    return [
        SeasonDay(
            day,
            len(some),
            tuple(dict.fromkeys(run.pack for run in some)),
            min((run.grade for run in some if run.grade), key=GRADES.index, default=None),
        )
        for day, some in sorted(found.items())
    ]


def season_rows(days: Sequence[SeasonDay]) -> int:
    """How many rows of half a year the days fill, the newest and those before it."""
    span = (_monday(days[-1].day) - _monday(days[0].day)).days // 7 + 1
    return min(MOST_ROWS, -(-span // WEEKS))


def season_height_px(rows: int) -> int:
    """Height that gives every day room for a mark."""
    return rows * ROW_PX + EDGES_PX


def season_figure(days: Sequence[SeasonDay]) -> Chart:
    """The newest half year at the top, the ones before below."""
    figure = Chart()
    rows, last = season_rows(days), _monday(days[-1].day)
    names: list[dict[str, object]] = []
    for row in range(rows):
        first = last - timedelta(weeks=WEEKS * (row + 1) - 1)
        axis = "y" if row == 0 else f"y{row + 1}"
        _places(figure, axis, days[-1].day, first)
        _marks(figure, axis, first, [one for one in days if first <= _monday(one.day) < first + timedelta(weeks=WEEKS)])
        top = 1 - row / rows
        names += _months(top - HEAD / rows, first)
        figure.update_layout({f"yaxis{'' if row == 0 else row + 1}": _weekdays(top - (1 - HEAD) / rows, top - HEAD / rows)})
    figure.update_xaxis(range=[-0.7, WEEKS - 0.3], showticklabels=False, ticks="", showline=False, anchor="y")
    figure.update_layout(margin={"l": 48, "r": 10, "t": 6, "b": 10}, annotations=names)
    return figure


def season_sentence(days: Sequence[SeasonDay]) -> str:
    """What the calendar shows."""
    drawn = _drawn(days)
    runs, deep = sum(one.runs for one in drawn), [one for one in drawn if one.grade in GRADES[:2]]
    span = date_words(drawn[0].day) + (f" to {date_words(drawn[-1].day)}" if drawn[1:] else "")
    said = [f"{counted(runs, 'run')} on {counted(len(drawn), 'day')}, {span}."]
    if deep:
        said.append(f"On {counted(len(deep), 'day')} a run went too deep, last on {date_words(deep[-1].day)}.")
    else:
        said.append("None went too deep, as far as can be told.")
    gap = max(pairwise(drawn), key=lambda pair: pair[1].day - pair[0].day, default=None)
    if gap is not None and (gap[1].day - gap[0].day).days > 60:
        said.append(f"Longest without a run: {date_words(gap[0].day)} to {date_words(gap[1].day)}.")
    return " ".join(said)


def season_table(days: Sequence[SeasonDay]) -> tuple[list[str], list[list[str]]]:
    """Columns and rows of the same, newest first."""
    rows = [
        [
            f"{WEEKDAYS[one.day.weekday()]} {date_words(one.day)}",
            str(one.runs),
            GRADE_WORDS.get(one.grade or "", "no grade"),
            ", ".join(one.packs),
        ]
        for one in reversed(_drawn(days))
    ]
    return ["Day", "Runs", "Deepest", "Packs"], rows


def _drawn(days: Sequence[SeasonDay]) -> list[SeasonDay]:
    first = _monday(days[-1].day) - timedelta(weeks=WEEKS * season_rows(days) - 1)
    return [one for one in days if one.day >= first]


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _places(figure: Chart, axis: str, last: date, first: date) -> None:
    """A faint place for every day, so that a day without a run is seen as one."""
    every = [(week, weekday) for week in range(WEEKS) for weekday in range(7) if first + timedelta(days=7 * week + weekday) <= last]
    figure.add_traces(
        [
            scatter(
                x=[week for week, _ in every],
                y=[weekday for _, weekday in every],
                yaxis=axis,
                mode="markers",
                marker={"symbol": "square", "size": 4, "color": FAINT},
                hoverinfo="skip",
            )
        ]
    )


def _marks(figure: Chart, axis: str, first: date, days: Sequence[SeasonDay]) -> None:
    colours = [COLOURS.get(one.grade or "", GREY) for one in days]
    figure.add_traces(
        [
            scatter(
                x=[(one.day - first).days // 7 for one in days],
                y=[one.day.weekday() for one in days],
                yaxis=axis,
                mode="markers",
                cliponaxis=False,
                marker={
                    "symbol": [SHAPES.get(one.grade or "", "square-open") for one in days],
                    "size": [8 + min(one.runs, 4) for one in days],
                    "color": colours,
                    "opacity": 1,
                    "line": {"width": 1.5, "color": colours},
                },
                text=[_words(one) for one in days],
                hovertemplate="%{text}<extra></extra>",
            )
        ]
    )


def _words(one: SeasonDay) -> str:
    named = ", ".join(chart_name(name, 30) for name in one.packs[:NAMED_PACKS])
    more = len(one.packs) - NAMED_PACKS
    grade = GRADE_WORDS.get(one.grade or "", "no grade")
    return f"{WEEKDAYS[one.day.weekday()]} {date_words(one.day)}: {counted(one.runs, 'run')}, deepest {grade}<br>{named}" + (
        f" and {more} more" if more > 0 else ""
    )


def _months(at: float, first: date) -> list[dict[str, object]]:
    """The name of each month over the week its first day is in, with the year over January, whose neighbour then makes room."""
    free_from, found = 0, []
    for week in range(WEEKS):
        monday = first + timedelta(weeks=week)
        begins = next((day for day in (monday + timedelta(days=step) for step in range(7)) if day.day == 1), None)
        if begins is None or week > WEEKS - 3 or week < free_from:
            continue
        year = f" {begins.year}" if begins.month == 1 else ""
        free_from = week + (6 if year else 0)
        place = {"x": week - 0.4, "y": at, "yref": "paper", "xanchor": "left", "yanchor": "bottom", "showarrow": False}
        found.append({"text": f"{MONTHS[begins.month - 1]}{year}", **place})
    return found


def _weekdays(low: float, high: float) -> dict[str, object]:
    return {
        "domain": [low, high],
        "range": [6.6, -0.6],
        "tickvals": [0, 2, 4, 6],
        "ticktext": [WEEKDAYS[weekday] for weekday in (0, 2, 4, 6)],
        "fixedrange": True,
        "showgrid": False,
        "showline": False,
    }
