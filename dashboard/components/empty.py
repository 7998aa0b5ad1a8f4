"""What a page says when it has nothing to show, or could not get it."""

from __future__ import annotations

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component


def empty_state(heading: str, text: str, steps: Sequence[tuple[str, str]] = ()) -> Component:
    """What this place is for and the first steps towards filling it: pairs of what it does and the command."""
    parts: list[Component] = [html.H2(heading), html.P(text)]
    if steps:
        parts.append(html.Ul([html.Li([html.Span(f"{what}: "), html.Code(command)]) for what, command in steps]))
    return html.Section(parts, className="empty")


def trouble(message: str, *, heading: str = "This page cannot be shown", reference: str | None = None) -> Component:
    """A plain message in place of a page."""
    parts: list[Component] = [html.H1(heading, tabIndex=-1), html.P(message)]
    if reference:
        parts.append(html.P(f"Reference {reference}: the program's own log says more under it.", className="quiet"))
    return html.Section(parts, className="trouble", role="alert")
