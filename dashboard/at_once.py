"""What Dash would ask for first, written into the document itself, so that nothing waits for three more round trips.

The browser's script (`assets/net.js`) takes the answers from there. What was not foreseen is asked for as ever.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import orjson
from dash.development.base_component import Component

from dashboard.first_look import html_of

_OWN = frozenset({"_prop_names", "_valid_wildcard_attributes", "available_properties", "available_wildcard_properties"})
"""What a component keeps for itself."""
_OPTIONS = orjson.OPT_NON_STR_KEYS | orjson.OPT_SERIALIZE_NUMPY


@dataclass(frozen=True, slots=True)
class FirstPage:
    """A page as it is seen at once, and as Dash would be given it."""

    html: str
    answer: bytes


def json_of(value: Any) -> bytes:
    """Components, figures and plain values as JSON: about five times as quick as Dash itself, which looks at every single value."""
    return orjson.dumps(value, default=_plain, option=_OPTIONS)


def ready(page: Component) -> Any:
    """A page in the form in which Dash hands it on untouched."""
    return orjson.Fragment(json_of(page))


def first_page(page: Component, title: str) -> FirstPage:
    """A page for the document."""
    response = {"_pages_content": {"children": page}, "_pages_store": {"data": {"title": title}}}
    return FirstPage(html_of(page), json_of({"multi": True, "response": response}))


def data_block(name: str, told: bytes | str) -> str:
    """JSON inside a document, where nothing in it can end the block or begin another."""
    text = (told.decode() if isinstance(told, bytes) else told).replace("<", "\\u003c")
    return f'<script type="application/json" id="{name}">{text}</script>'


def _plain(value: Any) -> Any:
    if isinstance(value, Component):
        given = value.__dict__
        props = {name: given[name] for name in given if name not in _OWN}
        return {"props": props, "type": value._type, "namespace": value._namespace}
    made = getattr(value, "to_plotly_json", None)
    if made is None:
        raise TypeError(f"{type(value).__name__} cannot be sent to a browser")
    return made()
