"""A chart as plain values, in the words of the chart library.

The library's own objects look at every value each time a page is drawn, which took most of a page's time. Here nothing is
looked at; the tests do, by making the library's objects of every kind of chart.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from dashboard.figures.template import TEMPLATE, margin, separators

Trace = dict[str, Any]
Part = dict[str, Any]
"""A line, a box or words."""
PLAIN: Part = {"showarrow": False}
"""Of words that point at nothing."""
_TEMPLATE: dict[str, Any] = TEMPLATE.to_plotly_json()


class Chart(dict[str, Any]):
    """Traces and layout."""

    def __init__(self) -> None:
        super().__init__(data=[], layout={"template": _TEMPLATE, "separators": separators(), "margin": margin()})

    @property
    def layout(self) -> dict[str, Any]:
        """Everything but the traces."""
        found: dict[str, Any] = self["layout"]
        return found

    def add_traces(self, traces: Iterable[Trace]) -> None:
        """Add traces, drawn in this order."""
        self["data"] += traces

    def update_layout(self, changes: Mapping[str, Any] | None = None, **more: Any) -> None:
        """Change parts of the layout, and of its parts."""
        _merge(self.layout, {**(changes or {}), **more})

    def update_xaxis(self, **changes: Any) -> None:
        """Change the horizontal axis."""
        _merge(self.layout.setdefault("xaxis", {}), changes)

    def add_shape(self, **shape: Any) -> None:
        """Add a line or a box."""
        self.layout.setdefault("shapes", []).append(shape)

    def add_annotation(self, **note: Any) -> None:
        """Add words."""
        self.layout.setdefault("annotations", []).append(note)


def chart_of(traces: Iterable[Trace], layout: Mapping[str, Any]) -> Chart:
    """A chart of these traces and this layout, in the common look."""
    chart = Chart()
    chart.add_traces(traces)
    chart.update_layout(layout)
    return chart


def scatter(**parts: Any) -> Trace:
    """Marks or a line; what is None is left to the library."""
    return {"type": "scatter"} | {name: value for name, value in parts.items() if value is not None}


def _merge(into: dict[str, Any], changes: Mapping[str, Any]) -> None:
    for name, value in changes.items():
        if isinstance(value, Mapping) and isinstance(into.get(name), dict):
            _merge(into[name], value)
        else:
            into[name] = dict(value) if isinstance(value, Mapping) else value
