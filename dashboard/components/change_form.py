"""A form to write something down or change it, made of the fields that are declared for its kind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.components.aria import data
from dashboard.components.change_words import Field, Form, field_id
from dashboard.components.entry import choice_entry, day_entry, notes_entry, number_entry, several_entry, text_entry, time_entry
from dashboard.theme import degrees

Value = str | Sequence[str]
Options = Sequence[tuple[str, str]]


def change_form(
    form: Form, values: Mapping[str, Value], choices: Mapping[str, Options], *, opened: Mapping[str, Any], button: str, back: str
) -> Component:  # fmt: skip
    """The fields with what stands in them; what the form was opened with waits in a store until it is sent."""
    kind = form.kind
    parts: list[Component] = [html.Div(id=f"change-{kind}-said", className="said-on-top", role="alert")]
    parts += [_group(group.heading, [_entry(form, field, values, choices) for field in group.fields]) for group in form.groups]
    if form.more:
        folded = html.Div([_entry(form, field, values, choices) for field in form.more], className="change-fields")
        filled = any(values.get(field.column) for field in form.more)
        parts.append(html.Details([html.Summary("More"), folded], open=filled, className="change-more"))
    parts.append(
        html.Div(
            [html.Button(button, type="submit", id=f"change-{kind}-save"), dcc.Link("Cancel", href=back, className="button quiet-button")],
            className="change-foot",
        )
    )
    return html.Div(
        [
            # Names that cannot be a field's, so that no browser offers what was typed elsewhere; what is wrong is said by the services.
            html.Form(parts, className="change-form", noValidate=True, autoComplete="off", **data(change=kind)),
            dcc.Store(id=f"change-{kind}-opened", data=dict(opened)),
            dcc.Store(id=f"change-{kind}-wrong"),
        ]
    )


def refused(words: str, *, more: Sequence[Component | str] = ()) -> Component:
    """Said above the form when nothing was saved."""
    return html.P([html.Strong("Not saved. "), words, *more], className="notice-line")


def _group(heading: str, entries: Sequence[Component]) -> Component:
    return html.Fieldset([html.Legend(heading), html.Div(entries, className="change-fields")])


def _entry(form: Form, field: Field, values: Mapping[str, Value], choices: Mapping[str, Options]) -> Component:
    """One field, as its kind of entry is drawn."""
    where, value = field_id(form.kind, field.column), values.get(field.column, "")
    label = field.label.replace("°C", degrees())
    if field.entry == "several":
        return several_entry(where, label, [name for name, _ in choices[field.choices]], list(value), hint=field.hint)
    text = str(value)
    if field.entry == "choice":
        offered = _with(choices[field.choices], text)
        empty = field.empty or None
        return choice_entry(where, label, offered, text, hint=field.hint, empty=empty, needed=field.needed)
    if field.entry == "day":
        return day_entry(where, label, text, hint=field.hint)
    if field.entry in ("notes", "lines"):
        return notes_entry(where, label, text, hint=field.hint)
    line = {"words": text_entry, "number": number_entry, "time": time_entry}[field.entry]
    return line(where, label, text, hint=field.hint, needed=field.needed)


def _with(options: Options, chosen: str) -> list[tuple[str, str]]:
    """The options, with what is chosen among them, so that a list never shows something else."""
    known = any(value == chosen for value, _ in options)
    return list(options) if known or not chosen else [*options, (chosen, chosen)]
