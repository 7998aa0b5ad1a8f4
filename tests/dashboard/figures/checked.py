"""Charts looked at by the chart library, which refuses what it does not know: the pages hand them over as plain values."""

from __future__ import annotations

from collections.abc import Callable

from plotly.graph_objects import Figure

from dashboard.figures.chart import Chart


def checked(draw: Callable[..., Chart]) -> Callable[..., Figure]:
    """The chart that a function draws, as the library's own object."""
    return lambda *values, **named: Figure(draw(*values, **named))
