"""Units: how this browser writes degrees, numbers and days."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from dash import Dash, html
from dash.development.base_component import Component
from flask import Flask, Response, redirect, request

from dashboard.needs import Services
from dashboard.reading import CHOICES, Reading, keep, reading
from dashboard.theme import clock, interval, temperature, volts
from tracker.domain.results import Estimate

PATH, TITLE, MENU = "/units", "Units and dates", False
KEEP_PATH = "/units/keep"
LABELS = {"degrees": "Temperatures", "numbers": "Numbers", "days": "Days"}
EXAMPLE_AH, EXAMPLE_K, EXAMPLE_V = Estimate(value=3.91, low=3.83, high=3.99, sd=0.049), 298.15, 7.42


def layout(_services: Services, /, kept: str = "", **_: str) -> Component:
    """The page as this browser has it."""
    return page(reading(), saved=kept == "yes")


def connect(_app: Dash, _services: Services) -> None:
    """A plain form: nothing is answered on the page itself."""


def keep_units(server: Flask) -> None:
    """The door the form hands its choices to."""
    server.add_url_rule(KEEP_PATH, "keep_units", _keep, methods=["POST"])


def page(chosen: Reading, *, saved: bool = False) -> Component:
    """What can be chosen, and how it then looks."""
    # Dash's own hints leave out where a form goes.
    untyped: dict[str, Any] = {"action": KEEP_PATH, "method": "post"}
    example = f"{interval(EXAMPLE_AH, 'charge')}, {volts(EXAMPLE_V)}, {temperature(EXAMPLE_K)}, {clock(datetime.now(UTC))}"
    return html.Div(
        [
            html.H1(TITLE, tabIndex=-1),
            html.P(
                "How this browser shows them. Each phone and laptop has its own choice. Decimal point and comma are both understood wherever a number is typed.",
                className="reading",
            ),
            html.P("Kept.", role="status", className="notice-line") if saved else None,
            html.Form(
                [
                    html.Div([_field(name, getattr(chosen, name)) for name in CHOICES], className="fields wide-fields"),
                    html.Div(html.Button("Keep this", type="submit"), className="ask-foot"),
                ],
                className="ask",
                **untyped,
            ),
            html.P(["So it looks: ", html.Strong(example), "."]),
            html.P(
                "Files that are taken out always hold points, Celsius and ISO days, so that every program reads them.", className="quiet"
            ),
        ]
    )


def _field(name: str, chosen: str) -> Component:
    choices = [html.Option(words, value=value, selected=value == chosen) for value, words in CHOICES[name]]
    return html.Div(
        [html.Label(LABELS[name], htmlFor=f"units-{name}"), html.Select(choices, id=f"units-{name}", name=name)], className="field"
    )


def _keep() -> Response:
    given = {name: request.form.get(name, "") for name in CHOICES}
    chosen = Reading(**{name: value for name, value in given.items() if value in dict(CHOICES[name])})
    response: Any = redirect(f"{PATH}?kept=yes", 303)
    keep(response, chosen, secure=request.is_secure)
    answer: Response = response
    return answer
