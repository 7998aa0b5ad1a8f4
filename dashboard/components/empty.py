"""What a page says when it has nothing to show, or could not get it."""

from __future__ import annotations

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

Steps = Sequence[tuple[str, str]]


def empty_state(heading: str, text: str, steps: Steps = (), *, links: Steps = ()) -> Component:
    """What this place is for and the first steps towards filling it: pairs of words and address, and of what it does and the command."""
    parts: list[Component] = [html.H2(heading), html.P(text)]
    if links:
        parts.append(actions(links))
    if steps:
        parts.append(html.Ul([html.Li([html.Span(f"{what}: "), html.Code(command)]) for what, command in steps]))
    return html.Section(parts, className="empty")


def actions(links: Steps) -> Component:
    """What can be done here: pairs of words and address. The pages they lead to are documents of their own."""
    return html.P([html.A(words, href=address, className="button") for words, address in links], className="actions")


def trouble(message: str, *, heading: str = "This page cannot be shown", reference: str | None = None) -> Component:
    """A plain message in place of a page."""
    parts: list[Component] = [html.H1(heading, tabIndex=-1), html.P(message)]
    if reference:
        parts.append(html.P(f"Reference {reference}: the program's own log says more under it.", className="quiet"))
    return html.Section(parts, className="trouble", role="alert")
