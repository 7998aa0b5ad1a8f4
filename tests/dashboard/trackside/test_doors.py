"""The doors of the page Log: what they take, once, and what they say of what they do not take."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import quote

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from dashboard.access import Access
from dashboard.app import create_app
from dashboard.reading import COOKIE
from tests.dashboard.fakes import HOSTILE, empty_services
from tracker.services import Services

AT = datetime.now(UTC).replace(microsecond=0) - timedelta(hours=5)
RUN = {
    "pack": "Tug 1",
    "vehicle": "Harbour tug",
    "run_min": "12",
    "readings": "each",
    "after_v": "9",
    "after_v_1": "3,81",
    "after_v_2": "3,74",
}


def entry(texts: Mapping[str, Any] = RUN, kind: str = "run", at: datetime = AT) -> dict[str, Any]:
    return {"kind": kind, "at": at.isoformat(), "texts": dict(texts)}


def put(client: FlaskClient, body: Any, entry_id: str | None = None) -> TestResponse:
    return client.put(f"/log/entries/{entry_id or uuid.uuid4()}", json=body)


def runs(services: Services, pack: str = "Tug 1") -> list[Any]:
    return [assessed.run for assessed in services.runs.assess(pack)]


def test_an_entry_is_taken_once_however_often_it_is_sent(client: FlaskClient, services: Services) -> None:
    entry_id = str(uuid.uuid4())
    before = len(runs(services))
    answers = [put(client, entry(), entry_id) for _ in range(3)]
    assert [answer.status_code for answer in answers] == [201, 200, 200]
    assert "Saved: <bdi>Tug 1</bdi> took" in answers[0].get_json()["html"]
    assert answers[0].get_json()["html"] == answers[2].get_json()["html"]
    assert len(runs(services)) == before + 1
    other = put(client, entry({**RUN, "run_min": "13"}), entry_id)
    assert other.status_code == 409
    assert other.get_json()["words"]
    assert len(runs(services)) == before + 1


def test_sent_from_several_windows_at_once_it_is_taken_once(client: FlaskClient, services: Services) -> None:
    entry_id, before = str(uuid.uuid4()), len(runs(services))
    clients = [client.application.test_client() for _ in range(4)]
    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(lambda one: put(one, entry(), entry_id).status_code, clients))
    assert set(answers) <= {200, 201}
    assert len(runs(services)) == before + 1


def test_a_run_handed_over_late_started_when_it_was_written_down(client: FlaskClient, services: Services) -> None:
    assert put(client, entry({**RUN, "rest_after_min": "8"})).status_code == 201
    newest = runs(services)[-1]
    assert newest.started_at == AT - timedelta(minutes=20)
    assert newest.after_v == (3.81, 3.74)


def test_the_switch_says_which_boxes_count(client: FlaskClient, services: Services) -> None:
    assert put(client, entry({**RUN, "readings": "pack", "after_v": "7.55"})).status_code == 201
    assert runs(services)[-1].after_v == (7.55,)


WRONG: tuple[tuple[dict[str, str], set[str]], ...] = (
    ({"run_min": ""}, {"run_min"}),
    ({"run_min": "1e9", "mean_a": "much", "after_v_1": "38,1"}, {"run_min", "mean_a", "after_v"}),
    ({"pack": ""}, {"pack"}),
    ({"pack": "Sold last week"}, {"pack"}),
    ({"vehicle": "No such model"}, {"vehicle"}),
    ({"after_v_3": "3.7"}, {"after_v"}),
    ({"after_v_2": " "}, {"after_v"}),
    ({"started_at": "yesterday"}, {"started_at"}),
    ({"started_at": (datetime.now(UTC) + timedelta(days=9)).isoformat()}, {"started_at"}),
)


def test_what_is_wrong_is_said_by_field_and_nothing_is_stored(client: FlaskClient, services: Services) -> None:
    before = runs(services)
    for texts, at_fault in WRONG:
        answer = put(client, entry({**RUN, **texts}))
        assert (answer.status_code, set(answer.get_json()["problems"])) == (422, at_fault), texts
        assert all(words[0].isupper() or words[0] == "'" for words in answer.get_json()["problems"].values())
    assert runs(services) == before


def test_what_is_no_entry_is_refused_in_words(client: FlaskClient, services: Services) -> None:
    before = runs(services)
    bodies: list[Any] = [None, [], "x", {}, {"kind": "run"}, {"kind": "pack", "at": AT.isoformat(), "texts": {}}]
    bodies += [{**entry(), "at": "14:30"}, {**entry(), "at": 7}, {**entry(), "at": "0001-01-01T00:00:00+14:00"}, entry({"run_min": 12}), entry({"notes": "x" * 30_000})]
    bodies += [entry({f"x{number}": "" for number in range(500)})]
    for body in bodies:
        answer = put(client, body)
        assert answer.status_code == 422
        assert answer.get_json()["words"]
    assert client.put("/log/entries/none", json=entry()).status_code in {404, 405}
    assert runs(services) == before


@pytest.mark.parametrize("query", ["saved=x&of=Tug%201&at=0001-01-01T00:00:00%2B14:00", "undone=a%00b", "saved=a%00b&of=a&at=2025-05-14T13:20Z"])
def test_a_damaged_address_is_answered_in_words(client: FlaskClient, query: str) -> None:
    answer = client.get(f"/log?{query}")
    assert answer.status_code < 500
    assert "Something went wrong" not in answer.text


def test_the_estimate_comes_before_saving(client: FlaskClient, services: Services) -> None:
    before = runs(services)
    answer = client.post("/log/preview", json=entry({**RUN, "after_v_1": "3,10", "after_v_2": "3,05", "rest_after_min": "20"}))
    assert answer.status_code == 200
    html = answer.get_json()["html"]
    assert re.search(r"Took <strong>[\d,]+\u00a0(±|mAh)", html)
    assert re.search(r"Cell 1</span> <span class=\"mark grade-(deep|damaging)\"", html)
    assert re.search(r"severity-(stop|caution)", html)
    assert client.post("/log/preview", json=entry({"pack": "Tug 1"})).get_json()["problems"].keys() == {"run_min"}
    assert runs(services) == before


def test_a_charge_is_looked_at_before_and_after_saving(client: FlaskClient, services: Services) -> None:
    texts = {"pack": "Tug 1", "put_back_mah": "1640", "goal": "storage", "readings": "pack", "cell_mohm_1": "3,1", "cell_mohm_2": "3,3"}
    assert "1,640\u00a0mAh" in client.post("/log/preview", json=entry(texts, "charge")).get_json()["html"]
    assert put(client, entry(texts, "charge")).status_code == 201
    newest = services.charges.all("Tug 1")[-1]
    assert (newest.put_back_ah, newest.goal, newest.finished_at, newest.cell_ohm) == (1.64, "storage", AT, (0.0031, 0.0033))


def test_a_form_without_script_saves_once_and_can_be_taken_back(client: FlaskClient, services: Services) -> None:
    before = len(runs(services))
    page = client.get("/log?pack=Tug%201").text
    entry_id = re.search(r'name="entry_id" value="([^"]+)"', page)
    assert entry_id is not None
    form = {**RUN, "kind": "run", "entry_id": entry_id[1], "notes": HOSTILE}
    answers = [client.post("/log", data=form, headers={"Origin": "http://localhost"}) for _ in range(2)]
    assert answers[0].status_code == 303
    assert len(runs(services)) == before + 1
    told = client.get(answers[0].headers["Location"]).text
    assert "Saved: <bdi>Tug 1</bdi>" in told
    change = re.search(r'name="change" value="([^"]+)"', told)
    assert change is not None
    back = client.post("/log/undo", data={"change": change[1]})
    assert "Taken back" in client.get(back.headers["Location"]).text
    assert len(runs(services)) == before
    assert "taken back since" in client.get(answers[0].headers["Location"]).text


def test_a_refused_form_comes_back_as_it_was_typed(client: FlaskClient, services: Services) -> None:
    before = runs(services)
    typed = {**RUN, "kind": "run", "run_min": "12 or so", "mean_a": '"><script>alert(1)</script>', "notes": "Wet </textarea> grass"}
    answer = client.post("/log", data=typed)
    assert answer.status_code == 422
    for kept in ('value="12 or so"', "&quot;&gt;&lt;script&gt;alert(1)", "Wet &lt;/textarea&gt; grass", 'name="after_v_2" value="3,74"'):
        assert kept in answer.text
    assert re.search(r'name="run_min"[^>]* aria-invalid="true"', answer.text)
    assert re.search(r'id="run-run_min-problem" role="alert">[^<]*is not a number', answer.text)
    assert '<details class="more" open' in answer.text
    assert runs(services) == before


def test_the_page_remembers_and_the_address_decides(client: FlaskClient) -> None:
    chosen = re.compile(r'<select id="run-(pack|vehicle)"[^>]*>.*?<option value="([^"]*)" selected', re.DOTALL)
    client.post("/log", data={**RUN, "kind": "run", "pack": HOSTILE, "vehicle": HOSTILE, "after_v_1": "3.9", "after_v_2": "3.9"})
    marked = dict(chosen.findall(client.get("/log").text))
    assert set(marked.values()) == {
        HOSTILE.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;").replace("'", "&#x27;")
    }
    assert dict(chosen.findall(client.get("/log?pack=Groomer%20left&vehicle=Snow%20groomer").text)) == {
        "pack": "Groomer left",
        "vehicle": "Snow groomer",
    }
    unknown = client.get(f"/log?pack={quote('<b>gone</b>')}").text
    assert "No pack in use is named <bdi>&lt;b&gt;gone&lt;/b&gt;</bdi>" in unknown


def test_an_empty_logbook_says_what_comes_first() -> None:
    text = create_app(empty_services()).server.test_client().get("/log").text
    assert "First describe a pack" in text
    assert 'href="/change?what=pack"' in text
    assert "<form" not in text


def test_the_page_keeps_a_stricter_policy_and_its_worker_may_fetch(client: FlaskClient) -> None:
    page = client.get("/log")
    policy = page.headers["Content-Security-Policy"]
    assert "unsafe" not in policy
    assert "sha256" not in policy
    assert page.status_code == 200
    assert re.search(r"<script(?![^>]*src=)|<style| style=| on[a-z]+=", page.text) is None
    worker = client.get("/log/worker.js")
    assert "connect-src 'self'" in worker.headers["Content-Security-Policy"]
    assert worker.headers["Service-Worker-Allowed"] == "/log"
    assert all(address in worker.text for address in re.findall(r'(?:src|href)="(/log/files/[^"]+)"', page.text))
    for address in re.findall(r'"(/log/files/[^"]+)"', worker.text):
        assert client.get(address).status_code == 200
    assert client.get("/log/files/0/log.js").status_code == 404
    assert client.get("/log/files/0/doors.py").status_code == 404


def test_the_menu_leads_to_the_page_as_a_document_of_its_own(client: FlaskClient) -> None:
    links = re.findall(r'<a class="menu-link" href="([^"]+)"', client.get("/safety").text)
    assert links[:3] == ["/", "/log", "/pack"]
    kinds = {link["props"]["href"]: link["type"] for link in links_in(client.get("/_dash-layout").get_json())}
    assert kinds["/log"] == "A"
    assert kinds["/safety"] == "Link"


def links_in(part: Any) -> Iterator[dict[str, Any]]:
    """Every component of a layout that leads somewhere."""
    if isinstance(part, list):
        for each in part:
            yield from links_in(each)
    elif isinstance(part, dict) and "props" in part:
        if "href" in part["props"]:
            yield part
        yield from links_in(part["props"].get("children"))


def test_other_sites_and_strangers_save_nothing(services: Services) -> None:
    before = runs(services)
    client = create_app(services).server.test_client()
    foreign = {"Origin": "https://evil.example"}
    assert client.put(f"/log/entries/{uuid.uuid4()}", json=entry(), headers=foreign).status_code == 403
    assert client.post("/log", data={**RUN, "kind": "run"}, headers=foreign).status_code == 403
    guarded = create_app(services, Access(password="pond and paddle")).server.test_client()
    assert put(guarded, entry()).status_code == 401
    assert guarded.post("/log", data={**RUN, "kind": "run"}).status_code == 401
    assert guarded.get("/log", headers={"Accept": "text/html"}).status_code == 302
    assert runs(services) == before


@pytest.mark.parametrize(("degrees", "typed", "stored_c"), [("f", "77", 25.0), ("f", "14,0", -10.0), ("c", "25", 25.0), ("", "25", 25.0)])
def test_a_temperature_is_meant_in_the_degrees_it_was_typed_in(
    client: FlaskClient, services: Services, degrees: str, typed: str, stored_c: float
) -> None:  # fmt: skip
    """The entry says which, so that it does not matter how the page is read when it is handed over."""
    sent = put(client, entry({"pack": "Tug 1", "run_min": "9", "pack_c": typed, "degrees": degrees}))
    assert sent.status_code == 201
    newest = max(runs(services), key=lambda run: run.started_at)
    assert newest.pack_k == pytest.approx(273.15 + stored_c, abs=0.01)


def test_the_page_asks_for_the_temperature_as_it_is_read(client: FlaskClient) -> None:
    client.set_cookie(COOKIE, "f-point-words")
    shown = client.get("/log").get_data(as_text=True)
    assert "Temperature, °F" in shown
    assert 'name="degrees" value="f"' in shown
