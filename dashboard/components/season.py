"""The season as a calendar, with its sentence, its key and its table."""

from __future__ import annotations

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.components.figure import figure_frame, graph
from dashboard.components.marks import GRADE_WORDS, grade_mark
from dashboard.components.table import folded_table
from dashboard.figures.season import season_days, season_figure, season_height_px, season_rows, season_sentence, season_table
from tracker.domain.season import SeasonRun


def season_section(runs: Sequence[SeasonRun]) -> Component | None:
    """Nothing where there were no runs."""
    days = season_days(runs)
    if not days:
        return None
    grades = {one.grade for one in days}
    key = [html.Li(grade_mark(grade)) for grade in reversed(GRADE_WORDS) if grade in grades]
    if None in grades:
        key.append(html.Li(html.Span("square: not enough written down to tell")))
    return html.Section(
        [
            html.H2("The season"),
            figure_frame(
                graph("season", season_figure(days), season_height_px(season_rows(days))),
                f"{season_sentence(days)} A larger mark is a day with more runs.",
                folded_table("Days with runs", *season_table(days)),
                html.Ul(key, className="key"),
                description="Chart of the days with runs and how deep they went",
            ),
        ]
    )
