"""Limits: elements made the quick way are what Dash would have made, and hold nothing Dash does not know."""

from __future__ import annotations

import json
from collections.abc import Iterator
from types import ModuleType
from typing import Any

import pytest
from dash import html
from dash.development.base_component import Component
from plotly.io.json import to_json_plotly

from dashboard.app import create_app
from dashboard.at_once import json_of
from dashboard.components import elements
from dashboard.pages import PAGES, pack
from tests.dashboard.fakes import HOSTILE, club_services


def parts(found: Any) -> Iterator[Component]:
    """Every component in a page."""
    if isinstance(found, Component):
        yield found
        yield from parts(getattr(found, "children", None))
    elif isinstance(found, (list, tuple)):
        for each in found:
            yield from parts(each)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.TITLE)
def test_every_argument_of_every_page_is_one_dash_knows_and_it_is_sent_as_dash_would_send_it(page: ModuleType) -> None:
    services = club_services()
    with create_app(services).server.test_request_context("/"):
        made = page.layout(services, **({"segment": "Groomer%20left"} if page is pack else {}))
    for part in parts(made):
        given = {name for name in vars(part) if name[0] != "_" and not name.startswith("available_")}
        assert {name for name in given if not name.startswith(("aria-", "data-"))} <= set(part._prop_names), part._type
    assert json.loads(json_of(made)) == json.loads(to_json_plotly(made))


def test_an_element_is_the_one_dash_makes() -> None:
    attributes: dict[str, Any] = {"aria-label": HOSTILE, "className": "name"}
    quick, slow = elements.Span(["a", elements.B(HOSTILE)], **attributes), html.Span(["a", html.B(HOSTILE)], **attributes)
    assert type(quick) is type(slow)
    assert json.loads(json_of(quick)) == json.loads(json_of(slow))
