"""Today: what needs doing now, then every pack in a row."""

from __future__ import annotations

from collections.abc import Sequence

from dash import Dash
from dash.development.base_component import Component

from dashboard.addresses import DATA_PATH, LOG_PATH, change_address
from dashboard.components import elements as html
from dashboard.components.aria import aria
from dashboard.components.empty import empty_state
from dashboard.components.finding import finding_list, grouped
from dashboard.components.pack_row import pack_row
from dashboard.components.terms import terms_fold
from dashboard.needs import Services
from dashboard.theme import counted
from tracker.domain.results import Finding, PackState

PATH, TITLE, MENU = "/", "Today", True
FIRST_LINKS = (
    ("Add a pack", change_address("pack")),
    ("Add a controller", change_address("controller")),
    ("Add a model", change_address("vehicle")),
    ("Write down a run", LOG_PATH),
    ("Bring in logbook files", DATA_PATH),
)
FIRST_STEPS = (
    ("Look at an invented club's packs", "pack-tracker demo"),
    ("Bring in a whole folder", "pack-tracker import FOLDER"),
)


def layout(services: Services, /, **_: str) -> Component:
    """The page as it stands now."""
    return today(*services.packs.overview())


def connect(_app: Dash, _services: Services) -> None:
    """Nothing on this page changes after it is drawn."""


def today(states: Sequence[PackState], findings: Sequence[Finding]) -> Component:
    """Findings, most urgent first, then the packs."""
    heading = html.H1(TITLE, tabIndex=-1)
    if not states and not findings:
        return html.Div(
            [
                heading,
                empty_state(
                    "No packs yet",
                    "This page shows which packs need attention, how deep each was last driven and what to do with it next.",
                    FIRST_STEPS,
                    links=FIRST_LINKS,
                ),
            ]
        )
    return html.Div([heading, to_do(states, findings), box(states)])


def to_do(states: Sequence[PackState], findings: Sequence[Finding]) -> Component:
    """What needs doing; notes wait under the fold."""
    packs = {state.pack for state in states}
    pressing = grouped([finding for finding in findings if finding.severity != "note"])
    notes = grouped([finding for finding in findings if finding.severity == "note"])
    parts: list[Component] = [html.H2("What needs doing", id="to-do")]
    if pressing:
        parts.append(finding_list(pressing, packs=packs, open_first=4))
    else:
        parts.append(html.P("Nothing presses. Look the packs over before each charge all the same.", className="quiet"))
    if notes:
        parts.append(
            html.Details(
                [html.Summary(counted(len(notes), "note")), finding_list(notes, packs=packs, open_first=len(notes))], className="folded"
            )
        )
    return html.Section(parts, **aria(labelledby="to-do"))


def box(states: Sequence[PackState]) -> Component:
    """Every pack in use, one row each."""
    return html.Section(
        [
            html.H2("Packs", id="box"),
            html.P("± spans hold the true value nine times in ten.", className="quiet"),
            terms_fold("Depth", "Grade", "± and the 90 % interval", "Rated capacity", "Storage voltage", "Floor", "Reserve"),
            html.Ul([pack_row(state) for state in states], className="box"),
        ],
        **aria(labelledby="box"),
    )
