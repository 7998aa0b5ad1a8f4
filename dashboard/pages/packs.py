"""Packs: every pack there is, the retired ones too, as the way to its page."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from dash import Dash, dcc, html
from dash.development.base_component import Component

from dashboard.addresses import PACK_PATH, change_address, labels_address, pack_address
from dashboard.components.empty import actions, empty_state
from dashboard.components.marks import name_text
from dashboard.components.season import season_section
from dashboard.components.table import card_table, change_link
from dashboard.components.terms import terms_fold
from dashboard.needs import Services
from dashboard.pages.today import FIRST_LINKS, FIRST_STEPS
from dashboard.theme import chemistry_words, date_words, mah
from tracker.domain.pack import Pack
from tracker.domain.season import SeasonRun

PATH, TITLE, MENU = PACK_PATH, "Packs", True
SEASON = timedelta(days=2 * 365)
"""So far back the calendar looks."""


def layout(services: Services, /, **_: str) -> Component:
    """The page as it stands now."""
    return packs(services.packs.all(include_retired=True), services.packs.season(datetime.now(UTC) - SEASON))


def connect(_app: Dash, _services: Services) -> None:
    """Nothing on this page changes after it is drawn."""


def packs(every: Sequence[Pack], season: Sequence[SeasonRun] = ()) -> Component:
    """All packs in use, then the retired, then when they were driven."""
    parts: list[Component] = [html.H1(TITLE, tabIndex=-1)]
    if not every:
        parts.append(empty_state("No packs yet", "This page lists every pack, in use or retired.", FIRST_STEPS, links=FIRST_LINKS))
        return html.Div(parts)
    parts.append(actions([("Add a pack", change_address("pack")), ("Print labels", labels_address())]))
    used = [pack for pack in every if pack.retired_on is None]
    retired = [pack for pack in every if pack.retired_on is not None]
    parts.append(terms_fold("Pack and cell", "Rated capacity", "C rate"))
    parts.append(_list("In use", used) if used else html.P("Every pack is retired.", className="quiet"))
    if retired:
        parts.append(_list("Retired", retired))
    if (calendar := season_section(season)) is not None:
        parts.append(calendar)
    return html.Div(parts)


def _list(heading: str, some: Sequence[Pack]) -> Component:
    rows: list[list[Component | str]] = [
        [
            dcc.Link(name_text(pack.name), href=pack_address(pack.name)),
            chemistry_words(pack.chemistry),
            f"{pack.series} in series" + (f", {pack.parallel} in parallel" if pack.parallel > 1 else ""),
            mah(pack.capacity_ah),
            _since(pack),
            change_link(change_address("pack", pack.name), pack.name),
        ]
        for pack in some
    ]
    return html.Section([html.H2(heading), card_table(heading, ["Pack", "Chemistry", "Cells", "Rated", "In the box", "Change"], rows)])


def _since(pack: Pack) -> str:
    words = [f"{word} {date_words(date)}" for word, date in (("since", pack.acquired_on), ("until", pack.retired_on)) if date is not None]
    return " ".join(words) or "not recorded"
