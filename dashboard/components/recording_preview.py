"""What was found out about a logger's file, how it may be read otherwise, and to which run it belongs."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from urllib.parse import quote, urlencode

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.components.aria import aria
from dashboard.components.form import choice_field
from dashboard.exchange.recordings import COLUMN, NEW_RUN, SIGN, UNIT, RunChoice, reading_query
from dashboard.theme import NB, clock, mah, measured, minutes, number, volts
from tracker.domain.trace import AMP_UNITS, DIRECTIONS, TEMPERATURE_UNITS, TIME_UNITS, VOLT_UNITS, TracePreview, TraceReading

ROLE_WORDS = {"time": "Time", "date": "Day", "volts": "Voltage of the pack", "amps": "Current", "temperature": "Temperature"}
UNITS = {"time": TIME_UNITS, "volts": VOLT_UNITS, "amps": AMP_UNITS, "temperature": TEMPERATURE_UNITS, "cell_1": VOLT_UNITS}
UNIT_WORDS = {
    "s": "seconds",
    "ms": "milliseconds",
    "min": "minutes",
    "h": "hours",
    "timestamp": "time stamps",
    "V": "V",
    "mV": "mV",
    "A": "A",
    "mA": "mA",
}
SIGN_WORDS = {"positive": "discharge is positive", "negative": "discharge is negative"}
LONGEST_CELL = 60

Option = tuple[str, str]


def found_out(preview: TracePreview) -> Component:
    """The numbers of the file as read so."""
    said = [
        ("Readings", number(preview.rows)),
        ("Over", span_words(preview.span_s)),
        ("Began", clock(preview.started_at) if preview.started_at else "the file does not say"),
        ("Charge drawn", _known(preview.used_ah, mah)),
        ("Lowest voltage", _known(preview.lowest_v, volts)),
        ("Highest current", _known(preview.highest_a, lambda value: measured(value, "amps"))),
    ]
    return html.Dl([html.Div([html.Dt(term), html.Dd(value)]) for term, value in said], className="facts")


def doubts(words: Sequence[str]) -> Component:
    """What was guessed and should be confirmed."""
    return html.Section(
        [html.H3("To be confirmed"), html.Ul([html.Li(html.Bdi(one)) for one in words], className="heed")], className="notice-line"
    )


def reading_form(preview: TracePreview, cells: int, kept: Mapping[str, str], packs: Sequence[Option], pack: str, page: str) -> Component:
    """Every role with the header that plays it, units and sign, each to be changed, and the pack it is of.

    It asks for an address, so that back and bookmarks work; `kept` are the parts of the address that stay.
    """
    reading = preview.reading
    headers = [(header, header or "(no name)") for header in dict.fromkeys(preview.headers)]
    roles = ["time", "volts", "amps", "temperature", *(f"cell_{cell}" for cell in range(1, cells + 1))]
    fields = [choice_field("pack", "Pack", packs, pack, prefix="trace", empty="Choose" if not pack else None)]
    for role in roles:
        chosen = reading.columns.get(role, "")
        fields.append(
            choice_field(f"{COLUMN}{role}", role_words(role), headers, chosen, prefix="trace", empty=None if chosen else "not in the file")
        )
    for role, units in UNITS.items():
        if role in reading.columns:
            label = f"Unit of {'the cells' if role == 'cell_1' else role_words(role).lower()}"
            options = [(unit, UNIT_WORDS.get(unit, unit)) for unit in units]
            fields.append(choice_field(f"{UNIT}{role}", label, options, reading.units.get(role, ""), prefix="trace"))
    if not reading.columns:  # nothing is known yet, so that units are asked for once the columns are
        fields = fields[: 1 + len(roles)]
    signs = [(sign, SIGN_WORDS[sign]) for sign in DIRECTIONS]
    fields.append(
        choice_field(
            SIGN, "Sign of the current", signs, reading.discharge or "", prefix="trace", empty=None if reading.discharge else "find out"
        )
    )
    hidden = [dcc.Input(type="hidden", name=name, value=value, id=f"trace-kept-{name}") for name, value in kept.items()]
    return html.Form(
        [
            *hidden,
            html.Div(fields, className="fields"),
            html.Div(html.Button("Look again, read like this", type="submit"), className="ask-foot"),
        ],
        action=page,
        method="get",
        className="ask",
    )


def first_rows(preview: TracePreview) -> Component:
    """The first rows as they stand in the file."""
    head = html.Thead(html.Tr([html.Th(html.Bdi(_cut(header)), scope="col") for header in preview.headers]))
    body = html.Tbody([html.Tr([html.Td(html.Bdi(_cut(cell))) for cell in row]) for row in preview.first_rows])
    return html.Div(html.Table([head, body], className="plain"), className="scroll", tabIndex=0, role="region", **aria(label="First rows"))


def keep_form(
    action: str, pack: str, reading: TraceReading, runs: Sequence[RunChoice], chosen: RunChoice | None, began_at: datetime | None, vehicles: Sequence[str]
) -> Component:  # fmt: skip
    """To which run the recording belongs, and the button that keeps it."""
    options = [(one.run.started_at.isoformat(), run_words(one)) for one in runs]
    options.append((NEW_RUN, "a run of its own, made from this recording"))
    preset = chosen.run.started_at.isoformat() if chosen else NEW_RUN if began_at else ""
    fields = [
        choice_field("run", "It belongs to", options, preset, prefix="keep", empty=None if preset else "Choose"),
        _began_field(began_at),
        choice_field("vehicle", "Model, for a run of its own", [(name, name) for name in vehicles], "", prefix="keep", empty="not told"),
    ]
    if any(one.recorded for one in runs):
        again = [("no", "leave that one"), ("yes", "replace it by this one")]
        fields.append(choice_field("replace", "If the run has a recording", again, "no", prefix="keep"))
    query = urlencode({"pack": pack} | reading_query(reading), quote_via=quote)
    return html.Form(
        [html.Div(fields, className="fields"), html.Div(html.Button("Keep this recording", type="submit"), className="ask-foot")],
        action=f"{action}?{query}",
        method="post",
        className="ask",
    )


def _began_field(began_at: datetime | None) -> Component:
    field_id = "keep-started"
    local = began_at.astimezone().replace(tzinfo=None).isoformat(timespec="seconds") if began_at else ""
    label: list[Component | str] = ["Began, for a run of its own", html.Span("day and time: 2026-05-02T14:30:00", className="hint")]
    entry = dcc.Input(id=field_id, name="started_at", type="text", value=local, autoComplete="off", maxLength=40)
    return html.Div([html.Label(label, htmlFor=field_id), entry], className="field")


def run_words(choice: RunChoice) -> str:
    """A run in a list: when, how long, with what, how far from the file's time."""
    run = choice.run
    parts = [clock(run.started_at), minutes(run.run_s), *([run.vehicle] if run.vehicle else [])]
    if choice.apart is not None:
        late = choice.apart.total_seconds()
        when = f"the file begins {minutes(abs(late))} {'later' if late > 0 else 'earlier'}"
        parts.append("at the time of the file" if abs(late) < 60 else when)
    return ", ".join([*parts, *(["has a recording"] if choice.recorded else [])])


def role_words(role: str) -> str:
    """A role as a person says it."""
    return f"Cell {role.removeprefix('cell_')}" if role.startswith("cell_") else ROLE_WORDS.get(role, role)


def span_words(span_s: float) -> str:
    """How long a recording is."""
    return f"{number(span_s / 60, 1)}{NB}min" if span_s >= 90 else f"{number(span_s, 1)}{NB}s"


def cells_found(reading: TraceReading) -> int:
    """How many cells were found in a file."""
    return sum(role.startswith("cell_") for role in reading.columns)


def _known(value: float, words: Callable[[float], str]) -> str:
    return words(value) if math.isfinite(value) else "not known"


def _cut(text: str) -> str:
    return text if len(text) <= LONGEST_CELL else f"{text[:LONGEST_CELL]}…"
