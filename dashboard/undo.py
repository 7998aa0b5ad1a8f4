"""What was just done stands under the menu for a while, with a button that takes it back."""

from __future__ import annotations

from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from dashboard.components.aria import aria
from dashboard.needs import Services
from tracker.domain.changes import Change
from tracker.errors import TrackerError


def undo_bar() -> Component:
    """The bar, empty at first. What was done is kept by the browser, so that it outlives the way to another page."""
    return html.Div(
        [
            dcc.Store(id="done", storage_type="session"),
            dcc.Store(id="undone"),
            html.Div(
                [
                    html.P(id="done-words"),
                    html.Button("Undo", id="done-undo", type="button"),
                    html.Button("Close", id="done-close", type="button"),
                ],
                id="done-bar",
                className="done-bar",
                hidden=True,
                role="region",
                **aria(label="Last change"),
            ),
            html.Div(id="done-said", role="status", className="unseen"),
        ]
    )


def told(change: Change, *, also: str = "", back: str = "") -> dict[str, Any]:
    """What goes into the store `done` after a change: it shows the bar. Once taken back, what was before is seen at the address `back`."""
    words = " ".join(part for part in (change.words, also) if part)
    return {"id": change.id, "words": words, "at": change.at.timestamp(), "back": back}


def connect_undo(app: Dash, services: Services) -> None:
    """Show what was done, and take it back when asked."""
    shown: Any = app.clientside_callback
    shown(
        ClientsideFunction(namespace="undo", function_name="shown"),
        [Output("done-words", "children"), Output("done-bar", "hidden"), Output("done-said", "children")],
        Input("done", "modified_timestamp"),
        Input("done-close", "n_clicks"),
        State("done", "data"),
    )
    shown(
        ClientsideFunction(namespace="undo", function_name="taken_back"),
        Output("done-undo", "title"),
        Input("undone", "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        [Output("undone", "data"), Output("done", "data", allow_duplicate=True)],
        Input("done-undo", "n_clicks"),
        State("done", "data"),
        prevent_initial_call=True,
    )
    def take_back(_clicks: int, done: dict[str, Any]) -> list[Any]:
        return undone(services, str(done["id"]), back=str(done.get("back") or ""))


def undone(services: Services, change_id: str, *, back: str = "") -> list[Any]:
    """Take a change back: what the browser is told, and what stands in the bar from then on."""
    try:
        change = services.edits.undo(change_id)
    except TrackerError as error:
        return [{"redraw": False}, {"id": "", "words": f"Not taken back: {error}"}]
    return [{"redraw": True, "back": back}, {"id": "", "words": f"Taken back: {change.words}"}]
