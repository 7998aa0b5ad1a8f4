"""A quantity as text: the value with its interval, or in words why there is none."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.theme import Measure, interval
from tracker.domain.results import Estimate, Quantity


def quantity_text(quantity: Quantity, measure: Measure) -> str:
    """The quantity in words, complete."""
    if isinstance(quantity, Estimate):
        return interval(quantity, measure)
    return f"not enough to say: {quantity.why}"


def quantity_cell(quantity: Quantity, measure: Measure) -> Component:
    """The quantity for a narrow place: why there is none stands in small print under it."""
    if isinstance(quantity, Estimate):
        return html.Span(interval(quantity, measure), className="number")
    return html.Span(["no estimate", html.Small(quantity.why, className="why-not")], className="unknown")
