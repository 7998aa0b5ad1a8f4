"""What stands on the shelf besides packs: models with their controllers, and the bench tests of each controller, with the ways to change them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.addresses import change_address
from dashboard.components.controller_list import listed
from dashboard.components.empty import actions
from dashboard.components.marks import name_text
from dashboard.components.table import Cell, card_table, change_link
from dashboard.theme import clock, counted, measured
from tracker.domain.controller import Vehicle
from tracker.domain.session import BenchTest

NOT_RECORDED = "not recorded"
ADD = [("Add a controller", change_address("controller")), ("Add a model", change_address("vehicle"))]


def model_list(vehicles: Sequence[Vehicle]) -> Component:
    """Every model with what is in it."""
    heading = html.H2("Models", id="models")
    if not vehicles:
        words = "No models yet. A model says which controllers hang on a pack, so that it can be told where they should let go."
        return html.Section([heading, html.P(words), actions(ADD[1:])])
    rows: list[list[Cell]] = [
        [
            name_text(vehicle.name),
            listed(vehicle.controllers) if vehicle.controllers else "none",
            measured(vehicle.usual_a, "amps") if vehicle.usual_a is not None else NOT_RECORDED,
            measured(vehicle.lead_ohm, "resistance") if vehicle.lead_ohm is not None else NOT_RECORDED,
            change_link(change_address("vehicle", vehicle.name), vehicle.name),
        ]
        for vehicle in vehicles
    ]
    return html.Section([heading, card_table("Models", ["Model", "Controllers", "Usual current", "Leads", "Change"], rows)])


def test_list(tests: Mapping[str, Sequence[BenchTest]]) -> Component | None:
    """Every bench test that was written down, by controller, newest first; folded, for they are seldom wrong."""
    rows: list[list[Cell]] = [
        [
            name_text(controller),
            clock(test.tested_at),
            counted(len(test.readings), "reading"),
            change_link(
                change_address("bench", (controller, test.tested_at)), f"the test of {clock(test.tested_at)}", words="Change or remove"
            ),
        ]
        for controller, some in tests.items()
        for test in reversed(some)
    ]
    if not rows:
        return None
    table = card_table("Bench tests as written down", ["Controller", "Tested", "Readings", "Change"], rows)
    return html.Details([html.Summary(f"{counted(len(rows), 'bench test')} as written down"), table], className="folded")
