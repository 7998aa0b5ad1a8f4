"""The foot of a form that changes what is there: taking a pack out of use, and deleting, with what goes with it."""

from __future__ import annotations

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from dashboard.components.entry import day_entry
from tracker.domain.changes import Kind

LITHIUM = (
    "A lithium pack is a risk out of use as well. A sound one keeps best at storage charge, cool and away from what burns. A harmed one is "
    "not charged again: cover its contacts and bring it to a collecting point, never into the household rubbish. The maker's instructions "
    "and local rules come first. "
)
OUT_OF_USE = "A retired pack keeps its runs and charges. It stands under Retired on the page Packs, and Today says nothing of it any more."
PUT_BACK = "It can be put back afterwards: by Undo, in the bar under the menu, as long as nothing of it was changed since."
WHEN_TO_DELETE = {
    "pack": "Only for a pack that never was. One that is worn out is retired instead, and keeps its history.",
    "vehicle": "Possible once no run names it.",
    "controller": "Possible once it is in no model.",
}
NEVER_WAS = "Only for what never was, or was written down twice. What is merely wrong is better put right above."


def retiring(*, shown: bool, retired: bool, day: str, lithium: bool) -> Component:
    """Out of use on a day, or back into use. It is sent with what stands in the form above, so that nothing typed there is lost."""
    said: list[Component] = [html.P("This pack is retired." if retired else OUT_OF_USE)]
    if lithium:
        said.append(
            html.P([html.Strong("Caution: "), LITHIUM, dcc.Link("More on the page Safety", href="/safety"), "."], className="notice-line")
        )
    line = [
        html.Div(day_entry("change-pack-retired-on", "Out of use since" if retired else "Out of use from", day), className="retire-day"),
        html.Button("Retire this pack", id="change-pack-retire", type="button", hidden=retired),
        html.Button("Take back into use", id="change-pack-return", type="button", hidden=not retired),
    ]
    return html.Section(
        [
            html.H2("Out of use" if retired else "Retire", id="retire", tabIndex=-1),
            *said,
            html.Div(line, className="retire-line"),
            html.P("What stands in the form above is saved with it.", className="quiet"),
        ],
        className="change-part",
        hidden=not shown,
    )  # fmt: skip


def removing(kind: Kind, noun: str, goes: list[Component | str]) -> Component:
    """The button, and the dialog that says what goes before anything does."""
    return html.Section(
        [
            html.H2("Delete"),
            html.P(WHEN_TO_DELETE.get(kind, NEVER_WAS)),
            html.Button(f"Delete this {noun}…", id=f"change-{kind}-ask", type="button", className="button-stop"),
            dmc.Modal(
                [
                    html.P(goes, className="goes"),
                    html.P(PUT_BACK),
                    html.Div(id=f"change-{kind}-kept", role="alert"),
                    html.Div(
                        [
                            html.Button(f"Delete this {noun}", id=f"change-{kind}-remove", type="button", className="button-stop"),
                            html.Button("Keep it", id=f"change-{kind}-keep", type="button"),
                        ],
                        className="change-foot",
                    ),
                ],
                id=f"change-{kind}-dialog",
                title=f"Delete this {noun}?",
                opened=False,
                centered=True,
                closeButtonProps={"aria-label": "Close"},
                # Outside the page its header would be taken for a second banner.
                withinPortal=False,
                transitionProps={"duration": 0},
            ),
        ],
        className="change-part",
    )
