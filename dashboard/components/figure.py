"""The frame every chart stands in: the chart, a sentence that says what it shows, and the same numbers as a table."""

from __future__ import annotations

from typing import Any

from dash import dcc, html
from dash.development.base_component import Component
from plotly.graph_objects import Figure

from dashboard.components.aria import aria, data
from dashboard.figures.chart import Chart

CONFIG: Any = {
    "displaylogo": False,
    # Without these two the chart offers to send its data to a stranger's server.
    "showSendToCloud": False,
    "plotlyServerURL": "",
    "displayModeBar": False,
    "responsive": True,
    "scrollZoom": False,
    "doubleClick": "reset",
    # A hint of the library would stand outside of the page's own parts, where nobody is told of it.
    "showTips": False,
}


def graph(graph_id: str, figure: Figure | Chart, height_px: int) -> Component:
    """The only way a chart is made."""
    return dcc.Graph(id=graph_id, figure=figure, config=CONFIG, responsive=True, className="chart", style={"height": f"{height_px}px"})


def figure_frame(chart: Component, sentence: str, table: Component, key: Component | None = None, *, description: str) -> Component:
    """A chart with its sentence, the key to its marks, and its table folded away; the description names it to a screen reader."""
    # As one picture with a name: read out piece by piece, the numbers along a chart's axes say nothing.
    # The place is kept free until the chart is drawn, so that nothing below it jumps.
    picture = html.Div(chart, role="img", style={"minHeight": getattr(chart, "style", {}).get("height", "0")}, **aria(label=description))
    parts = [html.Figcaption(sentence), *([key] if key is not None else []), picture]
    return html.Div(
        [
            html.Figure(parts),
            html.Div([_take("png", "Save the picture", description), _take("csv", "Save the numbers", description)], className="takes"),
            html.Details([html.Summary("The same numbers as a table"), table], className="numbers"),
        ],
        className="figure",
    )


def _take(kind: str, words: str, description: str) -> Component:
    """A button with which the browser keeps the chart as a file; assets/takeout.js makes it."""
    what = description.split(". ")[0].removeprefix("Chart of ")
    named = {"title": f"{what[:1].upper()}{what[1:]}", "name": what}
    return html.Button(words, type="button", className="take", **data(take=kind, **named), **aria(label=f"{words}: {what}"))
