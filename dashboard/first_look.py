"""A page as plain HTML: what is seen, and can be read and followed, until Dash's scripts have run and drawn the same again.

Only what is seen is written. Whatever needs a script stays out of reach until the script is there: fields and buttons are inert,
charts are the room they will take. Identifiers get a prefix of their own, so that no script takes these parts for the real ones.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from html import escape
from typing import Any

from dash.development.base_component import Component

PREFIX = "first-"
VOID = frozenset({"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"})
RENAMED = {
    "className": "class",
    "htmlFor": "for",
    "colSpan": "colspan",
    "rowSpan": "rowspan",
    "tabIndex": "tabindex",
    "dateTime": "datetime",
}
KEPT = frozenset({"class", "for", "colspan", "rowspan", "tabindex", "datetime", "href", "title", "type", "lang", "dir", "scope", "role", "value", "max", "alt", "src"})  # fmt: skip
REFERRING = frozenset({"for", "aria-labelledby", "aria-describedby", "aria-controls"})
FLAGS = frozenset({"hidden", "open", "selected", "reversed"})
ANNOUNCED = frozenset({"alert", "status"})
"""Roles that have a screen reader speak up: it does when Dash draws the part, and must not twice."""
UNTIL_ARRIVED = frozenset({"button", "input", "select", "textarea", "form"})
NAMELESS = {"Store", "Location", "Interval", "Modal", "Tooltip"}
"""Components of which nothing is seen at first."""


def html_of(part: Any) -> str:
    """The HTML of a component, a text, a number, or several of them."""
    pieces: list[str] = []
    _write(part, pieces.append)
    return "".join(pieces)


def _write(part: Any, say: Callable[[str], None]) -> None:
    if part is None or isinstance(part, bool):
        return
    if isinstance(part, Component):
        _component(part, say)
    elif isinstance(part, (list, tuple)):
        for each in part:
            _write(each, say)
    else:
        say(escape(str(part), quote=False))


def _component(part: Component, say: Callable[[str], None]) -> None:
    kind, space = part._type, part._namespace
    if space == "dash_html_components":
        _element(kind.lower(), part.__dict__, say)
    elif kind in NAMELESS:
        return
    elif kind == "Link":
        _element("a", part.__dict__, say)
    elif kind == "Graph":
        _element("div", {name: value for name, value in part.__dict__.items() if name in {"className", "style"}}, say)
    elif kind == "Input":
        _input(part.__dict__, say)
    elif "label" in part.__dict__:
        _field(part.__dict__, say)
    else:
        _write(getattr(part, "children", None), say)


def _element(tag: str, props: Mapping[str, Any], say: Callable[[str], None]) -> None:
    say(f"<{tag}")
    for name, value in props.items():
        if name != "children" and value is not None and name[0] != "_":
            _attribute(name, value, say)
    if tag in UNTIL_ARRIVED:
        say(" inert")
    say(">")
    if tag not in VOID:
        if "data-choose" in props:  # where a script puts a field for files
            say(f'<input type="file" aria-hidden="true" inert{" multiple" if props.get("data-several") == "yes" else ""}>')
        _write(props.get("children"), say)
        say(f"</{tag}>")


def _attribute(name: str, value: Any, say: Callable[[str], None]) -> None:
    name = RENAMED.get(name, name)
    if name == "style":
        say(f' style="{escape(_style(value))}"')
    elif name in FLAGS:
        if value is not False:
            say(f" {name}")
    elif name == "id":
        if isinstance(value, str):
            say(f' id="{PREFIX}{escape(value)}"')
    elif name in REFERRING:
        say(f' {name}="{" ".join(PREFIX + escape(each) for each in str(value).split())}"')
    elif (name in KEPT and not (name == "role" and value in ANNOUNCED)) or name.startswith("aria-") or name == "data-label":
        say(f' {name}="{escape(str(value))}"')


def _style(value: Mapping[str, Any]) -> str:
    """Dash's names in camel case as the style sheet's."""
    return ";".join("".join(f"-{sign.lower()}" if sign.isupper() else sign for sign in name) + f":{each}" for name, each in value.items())


def _input(props: Mapping[str, Any], say: Callable[[str], None]) -> None:
    """A field of Dash's own, in the box it comes in."""
    if props.get("type") == "hidden":
        return
    value = escape(str(props.get("value") or ""))
    say(f'<div class="dash-input-container"><input class="dash-input-element" value="{value}" aria-hidden="true" readonly inert></div>')


def _field(props: Mapping[str, Any], say: Callable[[str], None]) -> None:
    """A field of the component library: its label, its hint and the room for what is typed, under the same names for the style sheet."""
    needed = '<span class="mantine-InputWrapper-required"> *</span>' if props.get("withAsterisk") else ""
    label = f'<span class="mantine-InputWrapper-label">{escape(str(props["label"]))}{needed}</span>'
    say(f'<div class="mantine-InputWrapper-root first-field">{label}')
    if props.get("description"):
        say(f'<p class="mantine-InputWrapper-description">{escape(str(props["description"]))}</p>')
    say('<div class="mantine-Input-wrapper"><div class="mantine-Input-input"></div></div></div>')
