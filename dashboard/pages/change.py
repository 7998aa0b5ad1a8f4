"""Change: one form for everything that can be written down, to add it, to put it right, to retire it or to delete it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard.addresses import CHANGE_PATH, change_address, key_in
from dashboard.changing import MARKED, Outcome, found, home_of, opened_with, removed, saved
from dashboard.components.change_fields import FORMS as KINDS
from dashboard.components.change_form import change_form, refused
from dashboard.components.change_leaving import removing, retiring
from dashboard.components.change_words import Form, field_id
from dashboard.components.entry import faults, form_root
from dashboard.components.marks import name_text
from dashboard.needs import Services
from dashboard.offers import choices_of, goes_with, lithium
from dashboard.theme import clock
from dashboard.undo import told
from tracker.domain.changes import Key, Kind, Record
from tracker.domain.pack import Pack
from tracker.errors import NotFoundError

PATH, TITLE, MENU = CHANGE_PATH, "Write down or change", False
FORMS = True
NEEDED = "What is marked * is needed; everything else may stay empty. A number may have a decimal point or a decimal comma."
RETIRE, BACK = "change-pack-retire", "change-pack-return"
NO_DAY = Outcome(words=MARKED, problems={"retired_on": "Give the day from which it is out of use."})


def layout(services: Services, /, **query: str) -> Component:
    """The form for what stands in the address, or the kinds there are."""
    form = next((one for one in KINDS.values() if one.kind == query.get("what")), None)
    if form is None:
        return kinds()
    key = key_in(form.kind, query)
    try:
        record = None if key is None else found(services, form.kind, key)
    except NotFoundError as error:
        return nothing_there(form, str(error))
    given = {column: query[column][:200] for column in form.columns() if query.get(column)}
    return page(services, form, key, record, given)


def heading(query: Mapping[str, str]) -> str:
    """What the page is called at an address, without looking whether what it names is there."""
    form = next((one for one in KINDS.values() if one.kind == query.get("what")), None)
    if form is None:
        return TITLE
    return f"{form.verb} a {form.noun}" if key_in(form.kind, query) is None else f"Change this {form.noun}"


def connect(app: Dash, services: Services) -> None:
    """Saving, retiring and deleting, for every kind of form."""
    for form in KINDS.values():
        _connect_saving(app, services, form)
        _connect_removing(app, services, form)


def page(services: Services, form: Form, key: Key | None, record: Record | None, given: Mapping[str, str]) -> Component:
    """The form with its heading, and at its foot how to take away what it changes."""
    opened = opened_with(form.kind, key, record, {**_now(form), **given})
    parts: list[Component | None] = [
        html.H1(f"Change this {form.noun}" if record is not None else f"{form.verb} a {form.noun}", tabIndex=-1),
        html.P(title(form.kind, key), className="subject") if key is not None else html.P(form.about, className="reading"),
        html.P(NEEDED, className="quiet reading"),
        change_form(
            form,
            opened["shown"],
            choices_of(services, form),
            opened=opened,
            button="Save" if record is not None else f"{form.verb} this {form.noun}",
            back=home_of(form.kind, key) if key is not None else _came_from(form.kind, given),
        ),
    ]
    if form.kind == "pack":
        parts.append(_retiring(record if isinstance(record, Pack) else None))
    if key is not None:
        parts.append(removing(form.kind, form.noun, [*title(form.kind, key), " goes", goes_with(services, form.kind, key), "."]))
    return html.Div([form_root(parts)], className="change")


def kinds() -> Component:
    """What can be added."""
    links = [html.Li(html.A(f"{form.verb} a {form.noun}", href=change_address(form.kind)), className="kind") for form in KINDS.values()]
    return html.Div([html.H1(TITLE, tabIndex=-1), html.P("What is to be written down?"), html.Ul(links, className="kinds")])


def nothing_there(form: Form, message: str) -> Component:
    """What the address names is not stored."""
    return html.Div(
        [
            html.H1(f"No such {form.noun}", tabIndex=-1),
            html.P(message),
            html.P(dcc.Link("Look at what there is", href=home_of(form.kind, None), className="button")),
        ]
    )


def title(kind: Kind, key: Key) -> list[Component | str]:
    """What is changed: a name, or a name and a time."""
    return [name_text(key)] if isinstance(key, str) else [name_text(key[0]), f", {clock(key[1])}"]


def answer(kind: Kind, outcome: Outcome) -> list[Any]:
    """What a form gets back: what is wrong with each field, what is said above it, the bar, and where to go."""
    form = KINDS[kind]
    columns = [*form.columns(), *(["retired_on"] if kind == "pack" else [])]
    wrong = [outcome.problems.get(column) for column in columns]
    if outcome.change is not None:
        return [*wrong, None, told(outcome.change, back=outcome.back), outcome.address, no_update]
    strange = [words for column, words in outcome.problems.items() if column not in columns]
    way: list[Component | str] = (
        [" ", html.A("See how it stands now", href=outcome.address, target="_blank"), "."] if outcome.address else []
    )
    return [*wrong, refused(" ".join([outcome.words, *strange]), more=way), no_update, no_update, {"at": datetime.now(UTC).timestamp()}]


def _connect_saving(app: Dash, services: Services, form: Form) -> None:
    kind = form.kind
    fields = [field_id(kind, column) for column in form.columns()]
    buttons = [f"change-{kind}-save"]
    if kind == "pack":
        fields.append("change-pack-retired-on")
        buttons += [RETIRE, BACK]

    @app.callback(
        [
            *faults(fields),
            Output(f"change-{kind}-said", "children"),
            Output("done", "data", allow_duplicate=True),
            Output("go", "href", allow_duplicate=True),
            Output(f"change-{kind}-wrong", "data"),
        ],
        [Input(button, "n_clicks") for button in buttons],
        [State(f"change-{kind}-opened", "data"), *(State(field, "value") for field in fields)],
        prevent_initial_call=True,
    )
    def save(*given: Any) -> list[Any]:
        pressed(*given[: len(buttons)])
        opened, *values = given[len(buttons) :]
        sent = dict(zip(form.columns(), values, strict=False))
        if kind == "pack":
            button, day = str(ctx.triggered_id), values[-1]
            if button == RETIRE and not day:
                return answer(kind, NO_DAY)
            sent |= retired_on(button, opened, day)
        return answer(kind, saved(services, kind, sent, opened))

    focus: Any = app.clientside_callback
    focus(
        ClientsideFunction(namespace="change", function_name="wrong"),
        Output(f"change-{kind}-wrong", "storage_type"),
        Input(f"change-{kind}-wrong", "data"),
        prevent_initial_call=True,
    )


def _connect_removing(app: Dash, services: Services, form: Form) -> None:
    kind = form.kind
    toggled: Any = app.clientside_callback
    toggled(
        ClientsideFunction(namespace="change", function_name="asked"),
        Output(f"change-{kind}-dialog", "opened"),
        Input(f"change-{kind}-ask", "n_clicks"),
        Input(f"change-{kind}-keep", "n_clicks"),
        prevent_initial_call=True,
    )

    @app.callback(
        [
            Output(f"change-{kind}-kept", "children"),
            Output("done", "data", allow_duplicate=True),
            Output("go", "href", allow_duplicate=True),
        ],
        Input(f"change-{kind}-remove", "n_clicks"),
        State(f"change-{kind}-opened", "data"),
        prevent_initial_call=True,
    )
    def remove(clicks: int | None, opened: dict[str, Any]) -> list[Any]:
        pressed(clicks)
        outcome = removed(services, kind, opened)
        if outcome.change is None:
            return [html.P([html.Strong("Not deleted. "), outcome.words], className="notice-line"), no_update, no_update]
        return [None, told(outcome.change, back=outcome.back), outcome.address]


def pressed(*clicks: int | None) -> None:
    """Do nothing unless a button was pressed: a form that has just been drawn calls its callbacks too, whose outputs were there before it."""
    if not any(clicks):
        raise PreventUpdate


def retired_on(button: str, opened: Mapping[str, Any], day: str | None) -> dict[str, str]:
    """The day a pack goes out of use, as far as the button that was pressed has a say in it."""
    if button == RETIRE:
        return {"retired_on": day or ""}
    if button == BACK or not opened["texts"].get("retired_on"):
        return {"retired_on": ""}
    return {"retired_on": day or ""}


def _retiring(pack: Pack | None) -> Component:
    retired = pack is not None and pack.retired_on is not None
    day = pack.retired_on if pack is not None and pack.retired_on is not None else datetime.now().astimezone().date()
    return retiring(shown=pack is not None, retired=retired, day=day.isoformat(), lithium=pack is not None and lithium(pack.chemistry))


def _now(form: Form) -> dict[str, str]:
    """Something new happened just now, until told otherwise."""
    now = datetime.now().astimezone().replace(tzinfo=None).isoformat(timespec="minutes")
    return {field.column: now for field in form.fields() if field.entry == "time"}


def _came_from(kind: Kind, given: Mapping[str, str]) -> str:
    pack = given.get("pack") if kind in ("run", "charge") else None
    return home_of("pack", pack) if pack else home_of(kind, None)
