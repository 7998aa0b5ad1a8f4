"""A quantity as text: the value with its interval, or in words why there is none."""

from __future__ import annotations

from dash.development.base_component import Component

from dashboard.components import elements as html
from dashboard.theme import Measure, interval, unbroken
from tracker.domain.results import Estimate, NotEnough, Quantity


def quantity_text(quantity: Quantity, measure: Measure) -> str:
    """The quantity in words, complete."""
    if isinstance(quantity, Estimate):
        return interval(quantity, measure)
    why = reason(quantity)
    return why if why.startswith("not known") else f"not enough to say: {why}"


def reason(nothing: NotEnough) -> str:
    """Why there is no estimate, fit to follow a colon."""
    why = nothing.why
    return unbroken(why[:1].lower() + why[1:] if why[1:2].islower() else why)


def quantity_cell(quantity: Quantity, measure: Measure) -> Component:
    """The quantity for a narrow place: why there is none stands in small print under it."""
    if isinstance(quantity, Estimate):
        return html.Span(interval(quantity, measure), className="number")
    return html.Span(["no estimate", html.Small(reason(quantity), className="why-not")], className="unknown")
