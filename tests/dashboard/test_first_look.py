"""A page as plain HTML: hostile words stay words (limits), and nothing in it does what only Dash can do."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from dash import dcc, html
from flask.testing import FlaskClient

from dashboard.addresses import pack_address
from dashboard.app import create_app
from dashboard.at_once import data_block
from dashboard.components.aria import aria, data
from dashboard.components.entry import text_entry
from dashboard.first_look import html_of
from tests.dashboard.fakes import HOSTILE, NAMES, club_services
from tests.dashboard.test_app import page

HURTS = '"><script>alert(1)</script><!--'


def block(text: str, name: str) -> Any:
    """What a document tells under this name."""
    found = re.search(rf'<script type="application/json" id="{name}">(.*?)</script>', text, re.DOTALL)
    assert found is not None
    return json.loads(found[1])


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    made: FlaskClient = create_app(club_services()).server.test_client()
    return made


@pytest.mark.parametrize(
    "address", ["/", "/pack", "/cutoff?pack=Tug%201", "/controllers", "/safety", "/change?what=run", "/pack/Tug%201?runs=all"]
)
def test_a_document_holds_what_the_callback_would_answer(client: FlaskClient, address: str) -> None:
    told = block(client.get(address).text, "first-answer")["response"]
    asked = page(client, address)
    # What a new record is to be called is made up each time.
    plain = [re.sub(r"[0-9a-f]{32}|[0-9a-f-]{36}", "", json.dumps(each)) for each in (told, asked)]
    assert plain[0] == plain[1]


@pytest.mark.parametrize("name", NAMES)
def test_a_pack_of_any_name_is_drawn_at_once_or_left_to_the_script(client: FlaskClient, name: str) -> None:
    text = client.get(pack_address(name)).text
    assert "<script>alert" not in text
    if "/" not in name:
        assert block(text, "first-answer")["response"] == page(client, pack_address(name))


def test_what_the_document_tells_is_what_dash_would_be_told(client: FlaskClient) -> None:
    text = client.get("/").text
    assert block(text, "first-layout") == client.get("/_dash-layout").get_json()
    assert block(text, "first-dependencies") == client.get("/_dash-dependencies").get_json()


def test_words_stay_words() -> None:
    made = html.Div([HURTS, html.A(HURTS, href=HURTS, title=HURTS, style={"width": HURTS}, **aria(label=HURTS), **data(label=HURTS))])
    assert "<script" not in html_of(made)
    assert html_of(made).count("&quot;&gt;&lt;script&gt;") == 5
    assert "<" not in data_block("first-answer", json.dumps(HURTS)).removeprefix("<script").removesuffix("</script>")


def test_what_needs_a_script_cannot_be_reached_before_it_is_there() -> None:
    form = html.Form(
        [html.Button("Save"), dcc.Input(id="a", value=HOSTILE), html.Select([html.Option("x", value="x", selected=True)])], id="f"
    )
    text = html_of(html.Div([form, dcc.Store(id="s", data=HOSTILE), text_entry("n", "Name", hint="As in the box")]))
    assert text.count(" inert") == 4
    assert 'id="f"' not in text
    assert "name=" not in text
    assert "action=" not in text
    assert "As in the box" in text
    assert HOSTILE not in text


def test_a_chart_keeps_its_room_and_nothing_is_announced_twice() -> None:
    chart = dcc.Graph(id="c", className="chart", style={"height": "300px"}, figure={"data": []})
    assert (
        html_of(chart) == '<div style="height:300px" class="chart"></div>'
        or html_of(chart) == '<div class="chart" style="height:300px"></div>'
    )
    assert html_of(html.P("Wrong", role="alert")) == "<p>Wrong</p>"
    assert (
        html_of(html.Table(html.Tr(html.Th("a", role="rowheader", hidden=False)))) == '<table><tr><th role="rowheader">a</th></tr></table>'
    )


def test_identifiers_are_apart_and_still_refer_to_each_other() -> None:
    made = html.Section([html.H2("Packs", id="box"), html.Hr(), 7, None], **aria(labelledby="box"))
    assert html_of(made) == '<section aria-labelledby="first-box"><h2 id="first-box">Packs</h2><hr>7</section>'
