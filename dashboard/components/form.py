"""Fields of a form: a label, what is wrong with what was typed, and a plain input with the right keyboard."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal
from urllib.parse import parse_qs

from dash import Output, dcc, html
from dash.development.base_component import Component

from dashboard.components.aria import data

Keyboard = Literal["decimal", "text"]
MOST_CHARACTERS = 60
WORKING = "Working it out…"


def number_field(name: str, label: str, value: str, *, prefix: str, problem: str | None = None, hint: str = "") -> Component:
    """A field for a number with its unit in the label; decimal comma or point, read by the services."""
    return _field(name, label, value, prefix, problem, hint, "decimal")


def number_input(input_id: str, name: str = "", value: str = "", *, most: int = MOST_CHARACTERS) -> Component:
    """A bare input that brings up digits; as text, for a browser's own number field makes 742 of 7,42."""
    # Dash's own hints leave out the keyboard with a decimal mark.
    decimal: Any = "decimal"
    return dcc.Input(id=input_id, name=name, value=value, type="text", inputMode=decimal, autoComplete="off", maxLength=most)


def words_field(name: str, label: str, value: str, *, prefix: str, problem: str | None = None, hint: str = "") -> Component:
    """A field for what is not quite a number, such as 4k7."""
    return _field(name, label, value, prefix, problem, hint, "text")


def choice_field(
    name: str, label: str, options: Sequence[tuple[str, str]], chosen: str, *, prefix: str, empty: str | None = None, problem: str | None = None
) -> Component:  # fmt: skip
    """A list to choose from: pairs of value and words; `empty` is the first line while nothing is chosen."""
    lines = ([("", empty)] if empty is not None else []) + list(options)
    field_id = f"{prefix}-{name}"
    choices = [html.Option(words, value=value, selected=value == chosen) for value, words in lines]
    return html.Div(
        [html.Label(_labelled(field_id, label, problem), htmlFor=field_id), html.Select(choices, id=field_id, name=name)], className="field"
    )


def asking_form(fields: Sequence[Component], *, button: str = "", prefix: str, page: str) -> Component:
    """A form that puts what is chosen into the page's address, with what is said while the answer is on its way.

    Each change of a field is enough for an answer; the button is for those who look for one. The address goes into the store `<prefix>-asked`; the fields stand in `<prefix>-fields`.
    """
    parts: list[Component] = [html.Div(fields, id=f"{prefix}-fields", className="fields")]
    if button:
        foot = [html.Button(button, type="submit"), html.P(WORKING, className="working", role="status")]
        parts.append(html.Div(foot, className="ask-foot"))
    form = html.Form(parts, id=f"{prefix}-form", className="ask", **data(asks=f"{prefix}-asked", page=page))
    return html.Div([form, dcc.Store(id=f"{prefix}-asked")], className="asking")


def problem_outputs(prefix: str, names: Sequence[str]) -> list[Output]:
    """Where it is said what is wrong with each field."""
    return [Output(f"{prefix}-{name}-problem", "children") for name in names]


def problem_texts(problems: Mapping[str, str], names: Sequence[str]) -> list[str]:
    """What is said there; nothing where nothing is wrong."""
    return [sentence(problems.get(name, "")) for name in names]


def asked_in(told: Mapping[str, Any] | None, names: Sequence[str]) -> dict[str, str]:
    """What the address that a form told of gives for these fields."""
    search = str((told or {}).get("search") or "")
    return texts_of({name: values[-1] for name, values in parse_qs(search.removeprefix("?")).items()}, names)


def sentence(words: str) -> str:
    """With a capital to begin with."""
    return words[:1].upper() + words[1:]


def texts_of(query: Mapping[str, object], names: Sequence[str], most: int = 200) -> dict[str, str]:
    """What an address gives for these fields; nothing longer than anybody would type."""
    return {name: str(query.get(name) or "")[:most] for name in names}


def _field(name: str, label: str, value: str, prefix: str, problem: str | None, hint: str, keyboard: Keyboard) -> Component:
    field_id = f"{prefix}-{name}"
    if keyboard == "decimal":
        entry = number_input(field_id, name, value)
    else:
        entry = dcc.Input(id=field_id, name=name, value=value, type="text", autoComplete="off", maxLength=MOST_CHARACTERS, spellCheck=False)
    return html.Div([html.Label(_labelled(field_id, label, problem, hint), htmlFor=field_id), entry], className="field")


def _labelled(field_id: str, label: str, problem: str | None, hint: str = "") -> list[Component | str]:
    """The label; hint and fault belong to it, for an input can carry no description of its own here."""
    fault = html.Span(sentence(problem or ""), id=f"{field_id}-problem", className="problem", role="alert")
    return [label, *([html.Span(hint, className="hint")] if hint else []), fault]
