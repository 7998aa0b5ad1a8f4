"""Forms that send files, and buttons that ask the server for something: plain ones, each answered by another address."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.components.aria import aria, data


def sending_form(
    name: str, label: str, *, action: str, button: str, most_bytes: int, several: bool = False, hint: str = ""
) -> Component:  # fmt: skip
    """A field to choose files with, and the button that sends them.

    The field itself is put into its place by the page's own script, for the library of page parts has none.
    """
    field_id, hint_id = f"send-{name}", f"send-{name}-hint"
    return html.Form(
        [
            html.Div(
                [
                    html.Label(label, htmlFor=field_id),
                    html.P(hint, id=hint_id, className="hint"),
                    html.Div(**data(choose=name, field=field_id, several="yes" if several else "", hint=hint_id)),
                    html.P("", className="problem", role="alert"),
                ],
                className="field",
            ),
            html.Div(
                [
                    html.Button(button, type="submit"),
                    html.P("", className="sending quiet", role="status"),
                ],
                className="ask-foot",
            ),
        ],
        action=action,
        method="post",
        encType="multipart/form-data",
        className="ask send",
        **data(most=str(most_bytes)),
    )


def post_button(words: str, action: str, *, name: str = "", value: str = "", label: str = "") -> Component:
    """A button that asks the server to do something."""
    more: dict[str, Any] = ({"name": name, "value": value} if name else {}) | (aria(label=label) if label else {})
    button = html.Button(words, type="submit", **more)
    return html.Form(button, action=action, method="post", className="one-button")


def side_by_side(parts: Sequence[Component]) -> Component:
    """Buttons in a row."""
    return html.Div(list(parts), className="ask-foot")
