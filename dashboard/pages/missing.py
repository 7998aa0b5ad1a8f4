"""What stands where no page is."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

TITLE = "No such page"


def layout(**_: str) -> Component:
    """Says so, and leads back."""
    return html.Div(
        [
            html.H1(TITLE, tabIndex=-1),
            html.P("There is nothing at this address. It may have been mistyped, or the page has moved."),
            html.P(dcc.Link("Go to Today", href="/", className="button")),
        ]
    )
