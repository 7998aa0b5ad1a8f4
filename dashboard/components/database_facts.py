"""What a database holds: the one in use, and a backup beside it."""

from __future__ import annotations

from datetime import datetime

from dash import html
from dash.development.base_component import Component

from dashboard.components.table import card_table
from dashboard.theme import NB, clock, counted, number
from tracker.domain.exchange import Contents, DatabaseFacts

NUMBER_WORDS = {
    "packs": "Packs",
    "runs": "Runs",
    "charges": "Charges",
    "vehicles": "Models",
    "controllers": "Controllers",
    "bench tests": "Bench tests",
    "recordings": "Recordings",
}


def database_facts(facts: DatabaseFacts) -> Component:
    """The database in use."""
    said: list[tuple[str, Component | str]] = [
        ("Kind", facts.kind),
        ("Where", html.Bdi(facts.shown) if facts.shown else "in memory only, gone when the program ends"),
        ("Size", size_words(facts.size_bytes)),
        *((NUMBER_WORDS.get(name, name), number(count)) for name, count in facts.contents.numbers.items()),
        ("Version of the tables", facts.schema),
        ("Version of the model", facts.model),
        ("Waiting to be estimated", counted(facts.waiting_runs, "run") if facts.waiting_runs else "none"),
    ]
    return html.Dl([html.Div([html.Dt(term), html.Dd(value)]) for term, value in said], className="facts")


def contents_compared(backup: Contents, stored: Contents) -> Component:
    """A backup beside what is stored now."""
    names = [name for name in NUMBER_WORDS if name in backup.numbers or name in stored.numbers]
    rows: list[list[Component | str]] = [
        [NUMBER_WORDS[name], number(backup.numbers.get(name, 0)), number(stored.numbers.get(name, 0))] for name in names
    ]
    rows += [
        ["Newest run", _moment(backup.newest_run_at), _moment(stored.newest_run_at)],
        ["Newest charge", _moment(backup.newest_charge_at), _moment(stored.newest_charge_at)],
    ]
    return card_table("The backup beside what is stored", ["What", "In the backup", "Stored now"], rows)


def size_words(size_bytes: int | None) -> str:
    """A size in kB or MB, or that it is not known."""
    if size_bytes is None:
        return "not told"
    if size_bytes < 1e6:
        return f"{number(size_bytes / 1e3)}{NB}kB"
    return f"{number(size_bytes / 1e6, 1)}{NB}MB"


def _moment(moment: datetime | None) -> str:
    return "none" if moment is None else clock(moment)
