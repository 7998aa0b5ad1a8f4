"""Fields for writing something down, made of the component library: label, hint and fault are wired to the input by it.

What is typed stays as typed and is read by the services; a number is text with a decimal keyboard, for a browser's own number
field makes 742 of 7,42. Pages that use these carry `FORMS = True`, so that the library is fetched for them alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_mantine_components
from dash import Output
from dash.development.base_component import Component

dmc: Any = dash_mantine_components
"""The library carries no hints that a type checker can use."""

MOST_CHARACTERS, MOST_NOTES = 200, 2000
_PLAIN: dict[str, Any] = {"autoComplete": "off"}
_THEME = {"fontFamily": "inherit", "defaultRadius": 3, "respectReducedMotion": True}


def form_root(children: Sequence[Component | None]) -> Component:
    """Around everything made of the library; it follows the system's light or dark, in the colours of assets/components.css."""
    made: Component = dmc.MantineProvider([one for one in children if one is not None], defaultColorScheme="auto", theme=_THEME)
    return made


def text_entry(field_id: str, label: str, value: str = "", *, hint: str = "", problem: str = "", needed: bool = False) -> Component:
    """A line of words."""
    return _line(field_id, label, value, hint, problem, needed, {"maxLength": MOST_CHARACTERS, "spellCheck": "false"})


def number_entry(field_id: str, label: str, value: str = "", *, hint: str = "", problem: str = "", needed: bool = False) -> Component:
    """A number, or several with spaces between; its unit stands in the label."""
    return _line(field_id, label, value, hint, problem, needed, {"inputMode": "decimal", "maxLength": MOST_CHARACTERS})


def time_entry(field_id: str, label: str, value: str = "", *, hint: str = "", problem: str = "", needed: bool = False) -> Component:
    """A day and a time, with the browser's own picker: 2026-05-02T14:30."""
    return _line(field_id, label, value, hint, problem, needed, {"type": "datetime-local", "step": "1"})


def day_entry(field_id: str, label: str, value: str = "", *, hint: str = "", problem: str = "") -> Component:
    """A day, with the browser's own picker: 2026-05-02."""
    return _line(field_id, label, value, hint, problem, False, {"type": "date"})


def notes_entry(field_id: str, label: str, value: str = "", *, hint: str = "", problem: str = "") -> Component:
    """Words of any length."""
    made: Component = dmc.Textarea(
        id=field_id,
        label=label,
        value=value,
        autosize=True,
        minRows=2,
        maxRows=12,
        inputProps=_PLAIN | {"maxLength": MOST_NOTES},
        **_said(hint, problem, needed=False),
    )
    return made


def choice_entry(
    field_id: str,
    label: str,
    options: Sequence[tuple[str, str]],
    chosen: str = "",
    *,
    hint: str = "",
    problem: str = "",
    empty: str | None = None,
    needed: bool = False,
) -> Component:
    """One of several: pairs of value and words; with `empty`, those words stand for nothing chosen."""
    data = [{"value": value, "label": words} for value, words in options]
    made: Component = dmc.Select(
        id=field_id,
        label=label,
        data=data,
        value=chosen or None,
        placeholder=empty,
        clearable=empty is not None,
        allowDeselect=empty is not None,
        searchable=len(data) > 8,
        nothingFoundMessage="Nothing by that name",
        checkIconPosition="right",
        clearButtonProps={"aria-label": f"Clear: {label}"},
        comboboxProps={"transitionProps": {"duration": 0}},
        **_said(hint, problem, needed=needed),
    )
    return made


def several_entry(
    field_id: str, label: str, options: Sequence[str], chosen: Sequence[str] = (), *, hint: str = "", problem: str = ""
) -> Component:
    """Any number of those named, in the order chosen."""
    made: Component = dmc.MultiSelect(
        id=field_id,
        label=label,
        data=list(options),
        value=list(chosen),
        clearable=False,
        comboboxProps={"transitionProps": {"duration": 0}},
        **_said(hint, problem, needed=False),
    )
    return made


def faults(ids: Sequence[str]) -> list[Output]:
    """Where it is said what is wrong with each field."""
    return [Output(field_id, "error") for field_id in ids]


def _line(
    field_id: str, label: str, value: str, hint: str, problem: str, needed: bool, props: dict[str, Any]
) -> Component:  # fmt: skip
    made: Component = dmc.TextInput(id=field_id, label=label, value=value, inputProps=_PLAIN | props, **_said(hint, problem, needed=needed))
    return made


def _said(hint: str, problem: str, *, needed: bool) -> dict[str, Any]:
    """Hint and fault, and whether the field must be filled: said in words beside the label, judged by the services."""
    return {
        "description": hint or None,
        "error": problem or None,
        "errorProps": {"role": "alert"},
        "withAsterisk": needed,
    }
