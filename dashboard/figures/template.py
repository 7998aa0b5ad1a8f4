"""The one look of every chart.

Charts have no background of their own. Marks are mid-toned, from a colour-blind safe set (Okabe and Ito, Color Universal
Design, 2008), so that each keeps a contrast of 3:1 on the light page and on the dark one; text and axis lines take the page's
own colours from the style sheet. So a chart follows the system's choice of light or dark at once, and in print, without a script.
"""

from __future__ import annotations

from plotly.graph_objects import Figure, Layout
from plotly.graph_objs.layout import Template

from dashboard.reading import reading

BLUE = "#0072B2"
ORANGE = "#D55E00"
GREEN = "#009E73"
PURPLE = "#BF5F95"
"""The set's reddish purple, darkened: the original is too faint on white."""
GREY = "#808080"
FAINT = "rgba(128,128,128,0.35)"
WASH = "rgba(213,94,0,0.12)"
BAND = "rgba(0,114,178,0.25)"
"""An interval around a line in blue; its edges are drawn, for the wash alone is too faint to be seen by everybody."""
EDGE = BLUE

FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'Liberation Sans', sans-serif"
TEXT_PX = 13

TEMPLATE = Template(
    layout=Layout(
        font={"family": FONT, "size": TEXT_PX, "color": GREY},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        showlegend=False,
        dragmode=False,
        hovermode="closest",
        hoverlabel={"bgcolor": "#1b2a33", "bordercolor": "#1b2a33", "font": {"color": "#ffffff", "size": TEXT_PX, "family": FONT}},
        xaxis={"fixedrange": True, "showgrid": False, "zeroline": False, "linecolor": GREY, "ticks": "outside", "tickcolor": GREY},
        yaxis={"fixedrange": True, "gridcolor": FAINT, "zeroline": False},
    )
)


def blank_figure() -> Figure:
    """An empty chart in the common look."""
    return Figure(layout=Layout(template=TEMPLATE, separators=separators(), margin=margin()))


def separators() -> str:
    """The marks in numbers along an axis, as this browser reads them: before decimals, and between thousands."""
    thousands, decimal = reading().marks
    return decimal + thousands


def margin() -> dict[str, int]:
    """Room around a chart for the words at its axes [px]."""
    return {"l": 62, "r": 26, "t": 26, "b": 40}
