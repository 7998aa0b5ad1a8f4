"""Safety: the usual cautions with their sources; local rules and the maker's instructions come first."""

from __future__ import annotations

from collections.abc import Sequence

from dash import Dash, html
from dash.development.base_component import Component

from dashboard.needs import Services

PATH, TITLE, MENU = "/safety", "Safety", True

Advice = tuple[str, str]
"""What to do, and who says so."""

FIRE_BODIES = "United States Fire Administration and National Fire Protection Association, battery safety sheets"
FIRE_SERVICE = "West Yorkshire Fire and Rescue Service, lithium battery advice"
FLYING_2004 = "Academy of Model Aeronautics, safety alert, Model Aviation, August 2004"
FLYING_2007 = "Academy of Model Aeronautics, Model Aviation, April 2007"
RACING_2026 = "British Radio Car Association, battery rules 2026, as given by its clubs"
DISPOSAL = "United States Environmental Protection Agency, used lithium-ion batteries"
TRANSPORT = "United States pipeline and hazardous materials regulator, 49 CFR 173.185(f), interpretation 24-0050, 2024"
COMMON = "Common practice, no source"

SECTIONS: tuple[tuple[str, tuple[Advice, ...]], ...] = (
    (
        "Stop using a pack",
        (
            ("When it is swollen or out of shape, however little.", FIRE_SERVICE),
            ("When it smells, leaks, makes a noise, changes colour or gets hotter than it used to.", FIRE_BODIES),
            ("When a cell is dented, cut or torn: such a pack is not charged again.", FLYING_2004),
            (
                "When a lithium cell has rested below 2.00 V, or its chemistry's own limit where the pack's page names one. Do not try to bring it back.",
                COMMON,
            ),
        ),
    ),
    (
        "Charging",
        (
            (
                "Stay with it, and keep an eye on the pack for a while after: one has caught fire after it came off charge.",
                f"{FLYING_2004}; {FLYING_2007}",
            ),
            ("Take the pack out of the model, and charge it in something that does not burn.", FLYING_2004),
            ("Not below 0 °C and not above 40 °C.", FIRE_BODIES),
            ("Not on a bed or couch, and not on the way out of the building.", f"{FIRE_BODIES}; {FIRE_SERVICE}"),
            (
                "Never above the chemistry's limit. Some racing bodies hold high-voltage lithium polymer to 4.20 V a cell as well.",
                RACING_2026,
            ),
            ("With the charger set to this pack's chemistry and number of cells, checked each time.", COMMON),
        ),
    ),
    (
        "After a crash or a hard knock",
        (("Take the pack out, put it in the open away from anything that burns, and watch it for at least half an hour.", FLYING_2004),),
    ),
    (
        "Keeping and carrying",
        (
            ("Away from anything that burns, and not in a hot car.", FIRE_BODIES),
            ("A damaged pack is not posted and not taken on an aeroplane; special packing rules hold for moving it at all.", TRANSPORT),
        ),
    ),
    (
        "Throwing away",
        (("Not in the household rubbish. Cover the contacts with tape, one pack to a bag, and take it to a collecting point.", DISPOSAL),),
    ),
    (
        "If a pack burns",
        (
            (
                "Get everybody away and out, out of the smoke, and shut the door behind you. Call the fire service from outside.",
                "General advice, without a source; your own fire service's word comes first",
            ),
            (
                "Do not carry a burning pack, and do not go back for the model.",
                "General advice, without a source; your own fire service's word comes first",
            ),
            (
                "Say that it is a battery. It can flare up again after the flames have gone.",
                "General advice, without a source; your own fire service's word comes first",
            ),
        ),
    ),
)


def layout(_services: Services, /, **_: str) -> Component:
    """The page; it depends on nothing stored."""
    return safety(SECTIONS)


def connect(_app: Dash, _services: Services) -> None:
    """Nothing on this page changes after it is drawn."""


def safety(sections: Sequence[tuple[str, Sequence[Advice]]]) -> Component:
    """The cautions, section by section."""
    return html.Div(
        [
            html.H1(TITLE, tabIndex=-1),
            html.P(
                "Battery packs can catch fire and hurt people. First come the rules of the place you are in, the instructions of the pack's and "
                "the charger's makers, and the word of a qualified person. What stands here is the usual, not the whole."
            ),
            html.P(
                "This program works from what was written down. It has not seen the pack, and nothing it says means that a pack is safe.",
                className="strong-line",
            ),
            *(
                html.Section([html.H2(heading), html.Ul([_advice(*one) for one in advice], className="advice")])
                for heading, advice in sections
            ),
        ],
        className="reading",
    )


def _advice(what: str, source: str) -> Component:
    return html.Li([html.P(what), html.P(html.Cite(source), className="source")])
