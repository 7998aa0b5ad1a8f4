"""Forms without a browser, on a real logbook in memory: what they open with, what becomes of them, and that nothing is lost between."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from dashboard.addresses import change_address, pack_address
from dashboard.app import create_app
from dashboard.bench_lines import lines_of, texts_of_lines
from dashboard.changing import CHOOSE, MEANWHILE, found, opened_with, removed, saved, shown_time
from dashboard.components.change_fields import FORMS
from dashboard.components.change_words import plain
from dashboard.offers import choices_of
from dashboard.pages import change
from dashboard.reading import COOKIE
from tests.dashboard.fake_plans import HOSTILE
from tests.dashboard.words import every, words
from tracker.domain.changes import Key, Kind, Record
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.session import BenchReading, BenchTest, Charge, Run
from tracker.errors import FieldErrors
from tracker.services import Services, open_services
from tracker.services.chemistries import cell_voltages
from tracker.services.entries import columns_of, record_from

AT = datetime(2026, 5, 2, 14, 30, 7, 250001, tzinfo=UTC)
RECORDS: dict[Kind, Record] = {
    "pack": Pack(
        name=HOSTILE, chemistry="lipo", series=2, parallel=2, capacity_ah=3.2, continuous_c=30, acquired_on=date(2024, 3, 2),
        retired_on=date(2026, 1, 1), notes=" two\nlines ",
    ),
    "vehicle": Vehicle(name="Snow groomer", controllers=("left", "right side"), lead_ohm=0.004, usual_a=13.0),
    "controller": Controller(
        name="right side", cutoff_mode="pack_v", cutoff_v=6.4, restart_v=6.9, load_share=0.5, powers_receiver=True, notes="x"
    ),
    "run": Run(
        pack=HOSTILE, started_at=AT, run_s=851.5, vehicle="Snow groomer", rest_before_s=7200, before_v=(4.19, 4.18), loaded_v=(6.9,),
        loaded_a=18.5, mean_a=9.25, used_ah=1.234, after_v=(3.81, 3.741), rest_after_s=1200, cutoff_v=(5.0, 6.4), pack_k=291.15,
        ended_by="cutoff", notes="left plugged in",
    ),
    "charge": Charge(
        pack=HOSTILE, finished_at=AT, put_back_ah=2.345, end_v=(8.4,), goal="storage", cell_ohm=(0.0041, 0.0052), pack_k=295.4, notes="slow"
    ),
    "bench": BenchTest(
        controller="left", tested_at=AT,
        readings=(BenchReading(supply_v=6.6, running=True), BenchReading(supply_v=6.4, running=False), BenchReading(supply_v=6.8, running=True)),
    ),
}  # fmt: skip
KEYS: dict[Kind, Key] = {
    "pack": HOSTILE, "vehicle": "Snow groomer", "controller": "right side", "run": (HOSTILE, AT), "charge": (HOSTILE, AT), "bench": ("left", AT)
}  # fmt: skip


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One record of every kind, each field filled in; estimated once."""
    file = tmp_path_factory.mktemp("written") / "logbook.sqlite3"
    with open_services(f"sqlite:///{file}") as services:
        services.edits.save(Controller(name="left", cutoff_mode="none"))
        for kind in ("controller", "vehicle", "pack", "run", "charge", "bench"):
            services.edits.save(RECORDS[kind])
    return file


@pytest.fixture
def logbook(written: Path, tmp_path: Path) -> Iterator[Services]:
    """A copy of it."""
    shutil.copy(written, tmp_path / "logbook.sqlite3")
    with open_services(f"sqlite:///{tmp_path / 'logbook.sqlite3'}") as services:
        yield services


def altered(kind: Kind, **fields: Any) -> Any:
    """The record of that kind with some fields otherwise."""
    record: Any = RECORDS[kind]
    return replace(record, **fields)


def opened(services: Services, kind: Kind) -> dict[str, Any]:
    return opened_with(kind, KEYS[kind], found(services, kind, KEYS[kind]), {})


def sent(form: dict[str, Any], kind: Kind, **typed: Any) -> dict[str, Any]:
    """What the fields hold when a person has typed this and left the rest."""
    shown = {field.column: form["shown"].get(field.column, "") for field in FORMS[kind].fields()}
    return shown | ({"retired_on": form["shown"].get("retired_on", "")} if kind == "pack" else {}) | typed


@pytest.mark.parametrize("kind", FORMS)
def test_every_column_has_a_field(kind: Kind) -> None:
    columns = set(FORMS[kind].columns()) | ({"retired_on"} if kind == "pack" else set())
    if kind == "bench":
        columns = columns - {"readings"} | {"supply_v", "motor"}
    assert columns == set(columns_of(kind))


@pytest.mark.parametrize("kind", FORMS)
def test_a_form_that_is_sent_untouched_changes_nothing(logbook: Services, kind: Kind) -> None:
    outcome = saved(logbook, kind, sent(form := opened(logbook, kind), kind), form)
    assert outcome.change is not None
    assert found(logbook, kind, KEYS[kind]) == RECORDS[kind]


def test_only_what_was_typed_is_changed(logbook: Services) -> None:
    form = opened(logbook, "run")
    outcome = saved(logbook, "run", sent(form, "run", run_min="12,5", after_v="3,80 3,74", started_at="2026-05-02T15:00"), form)
    assert outcome.change is not None
    at = datetime(2026, 5, 2, 15).astimezone(UTC)
    run = altered("run", run_s=750.0, after_v=(3.8, 3.74), started_at=at)
    assert logbook.runs.one(HOSTILE, at).run == run
    assert outcome.address == pack_address(HOSTILE, at)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"mean_a": "9,5"}, None),
        ({"mean_a": "9,5", "loaded_a": "18.25"}, "decimal comma"),
        ({"used_mah": "1,300"}, "write 1300 if ',' separates thousands"),
    ],
)
def test_a_comma_typed_beside_points_stored_is_read_where_it_leaves_no_doubt(
    logbook: Services, typed: dict[str, str], said: str | None
) -> None:
    form = opened(logbook, "run")
    outcome = saved(logbook, "run", sent(form, "run", **typed), form)
    assert (outcome.change is None) == (said is not None)
    assert said is None or any(said in problem for problem in outcome.problems.values())
    assert logbook.runs.one(HOSTILE, AT).run.before_v == (4.19, 4.18)


def test_readings_of_a_test_are_put_right_as_lines(logbook: Services) -> None:
    form = opened(logbook, "bench")
    assert form["shown"]["readings"].splitlines()[1] == "6.4 stopped"
    wrong = saved(logbook, "bench", sent(form, "bench", readings="6,6 running\n6.4 off"), form)
    assert "Line 2 is '6.4 off'" in wrong.problems["readings"]
    assert saved(logbook, "bench", sent(form, "bench", readings="6,6 running\n\n6,45 Stopped"), form).change is not None
    assert [reading.supply_v for reading in logbook.controllers.tests("left")[0].readings] == [6.6, 6.45]


@pytest.mark.parametrize("lines", ["", "6.5 running\n6.4 stopped"])
def test_lines_come_back_as_they_went_in(lines: str) -> None:
    assert lines_of(texts_of_lines(lines)) == lines


@pytest.mark.parametrize("line", ["6.5", "running", "6.5 running 7", "running 6.5"])
def test_a_line_that_is_no_reading_is_named(line: str) -> None:
    with pytest.raises(FieldErrors, match="line 2"):
        texts_of_lines(f"6.6 running\n{line}")


def test_what_is_wrong_is_said_of_its_field_in_the_words_of_the_form() -> None:
    with open_services("sqlite://") as empty:
        form = opened_with("pack", None, None, {})
        outcome = saved(empty, "pack", sent(form, "pack", pack="Tug 1", series="many", capacity_mah=""), form)
        assert outcome.change is None
        assert set(outcome.problems) == {"chemistry", "series", "capacity_mah"}
        assert outcome.problems["chemistry"] == CHOOSE
        assert "whole numbers from 1 to 100" in outcome.problems["series"]
        assert outcome.problems["capacity_mah"].startswith("This is missing")
        assert not empty.packs.all()


def test_a_day_out_of_use_before_it_was_in_use_is_said_with_the_labels_of_the_form(logbook: Services) -> None:
    form = opened(logbook, "pack")
    problem = saved(logbook, "pack", sent(form, "pack", retired_on="2020-01-01"), form).problems["retired_on"]
    assert "“In use since”" in problem
    assert "acquired_on" not in problem


def test_what_a_person_wrote_is_not_reworded() -> None:
    said = plain("vehicle 'my vehicle run_min' is not known; look at run_min", FORMS["run"], {})
    assert said == "Model 'my vehicle run_min' is not known; look at “Ran for, min”."


def test_sent_twice_it_is_saved_once(logbook: Services) -> None:
    form = opened(logbook, "pack")
    first, second = (saved(logbook, "pack", sent(form, "pack", pack="Tug 1"), form) for _ in range(2))
    assert first.change is not None
    assert second.change == first.change
    fresh = opened_with("charge", None, None, {"pack": "Tug 1"})
    typed = sent(fresh, "charge", pack="Tug 1", finished_at="2026-06-01T10:00", put_back_mah="2000")
    assert {getattr(saved(logbook, "charge", typed, fresh).change, "id", None) for _ in range(2)} == {fresh["change"]}
    assert len(logbook.charges.all("Tug 1")) == 2


@pytest.mark.parametrize("kind", FORMS)
def test_what_was_changed_elsewhere_meanwhile_is_not_overwritten(logbook: Services, kind: Kind) -> None:
    typed = {"bench": {"readings": "6 running\n5 stopped"}}.get(kind, {"notes": "mine"})
    other = {"bench": {"readings": "7 running\n5 stopped"}}.get(kind, {"notes": "theirs"})
    mine, theirs = opened(logbook, kind), opened(logbook, kind)
    assert saved(logbook, kind, sent(theirs, kind, **other), theirs).change is not None
    stands = found(logbook, kind, KEYS[kind])
    outcome = saved(logbook, kind, sent(mine, kind, **typed), mine)
    assert (outcome.change, outcome.words, outcome.address) == (None, MEANWHILE, change_address(kind, KEYS[kind]))
    assert found(logbook, kind, KEYS[kind]) == stands


def test_what_was_renamed_or_deleted_meanwhile_is_said(logbook: Services) -> None:
    form = opened(logbook, "pack")
    logbook.edits.remove("pack", HOSTILE)
    assert "may have been renamed or deleted" in saved(logbook, "pack", sent(form, "pack"), form).words
    assert "not stored" in removed(logbook, "pack", form).words


def test_deleting_takes_all_with_it_and_can_be_taken_back(logbook: Services) -> None:
    form = opened(logbook, "pack")
    page = change.page(logbook, FORMS["pack"], HOSTILE, RECORDS["pack"], {})
    assert "goes , and with it 1 run and 1 charge" in words(page)
    outcome = removed(logbook, "pack", form)
    assert outcome.change is not None
    assert removed(logbook, "pack", form).change == outcome.change
    assert not logbook.packs.all(include_retired=True)
    logbook.edits.undo(outcome.change.id)
    assert logbook.runs.one(*KEYS["run"]).run == RECORDS["run"]
    assert logbook.charges.one(*KEYS["charge"]) == RECORDS["charge"]


def test_what_is_in_use_is_kept_and_what_to_do_is_said(logbook: Services) -> None:
    kept = removed(logbook, "controller", opened(logbook, "controller"))
    assert kept.change is None
    assert "in 'Snow groomer'; take it out there first" in kept.words
    kept = removed(logbook, "vehicle", opened(logbook, "vehicle"))
    assert kept.words.startswith("Model 'Snow groomer' cannot be deleted: 1 run names it")


@pytest.mark.parametrize(
    ("button", "stored", "day", "goes"),
    [
        ("change-pack-save", "", "2026-01-01", ""),
        ("change-pack-save", "2025-01-01", "2026-01-01", "2026-01-01"),
        ("change-pack-retire", "", "2026-01-01", "2026-01-01"),
        ("change-pack-return", "2025-01-01", "2026-01-01", ""),
    ],
)
def test_only_its_own_button_takes_a_pack_out_of_use(button: str, stored: str, day: str, goes: str) -> None:
    assert change.retired_on(button, {"texts": {"retired_on": stored}}, day) == {"retired_on": goes}


@pytest.mark.parametrize("text", ["2026-05-02T14:30", "2026-05-02T14:30:07", "2026-05-02T14:30:07.250001", "2026-05-02T14:30+05:30"])
def test_a_time_is_shown_as_a_field_can_hold_it(text: str) -> None:
    shown = shown_time(text)
    assert len(shown) == len("2026-05-02T14:30:07")
    assert abs((datetime.fromisoformat(shown).astimezone() - datetime.fromisoformat(text).astimezone()).total_seconds()) < 1


def test_degrees_are_typed_as_this_browser_shows_them(logbook: Services) -> None:
    app = create_app(logbook)
    with app.server.test_request_context(headers={"Cookie": f"{COOKIE}=f-point-words"}):
        form = opened(logbook, "charge")
        assert form["shown"]["pack_c"] == "72.05"
        labels = [entry.label for entry in every(change.layout(logbook, what="charge"), "TextInput")]
        assert "Pack temperature, °F" in labels
        assert saved(logbook, "charge", sent(form, "charge", pack_c="68"), form).change is not None
    assert found(logbook, "charge", KEYS["charge"]) == altered("charge", pack_k=293.15)


def test_drawing_a_form_presses_none_of_its_buttons(logbook: Services) -> None:
    client = create_app(logbook).server.test_client()
    client.get("/")
    for output in ("change-pack-kept.children", "change-pack-said.children"):
        [wired] = [one for one in client.get("/_dash-dependencies").get_json() if output in one["output"]]
        outputs = [part.rsplit(".", 1) for part in wired["output"].strip(".").split("...")]
        answer = client.post(
            "/_dash-update-component",
            json={
                "output": wired["output"],
                "outputs": [{"id": part, "property": name.split("@")[0]} for part, name in outputs],
                "inputs": [{**one, "value": None} for one in wired["inputs"]],
                "state": [{**one, "value": opened(logbook, "pack") if "opened" in one["id"] else ""} for one in wired["state"]],
                "changedPropIds": [],
            },
        )
        assert answer.status_code == 204
    assert found(logbook, "pack", HOSTILE) == RECORDS["pack"]


def test_what_is_not_there_and_what_is_no_kind_is_said(logbook: Services) -> None:
    assert "No such pack" in words(change.layout(logbook, what="pack", name="none"))
    assert "No such bench test" in words(change.layout(logbook, what="bench", controller="none", at=AT.isoformat()))
    assert "Add a controller" in words(change.layout(logbook, what="<script>"))


def test_a_new_run_has_the_pack_in_its_address_chosen(logbook: Services) -> None:
    page = change.layout(logbook, what="run", pack=HOSTILE)
    [pack] = [one for one in every(page, "Select") if one.label == "Pack"]
    assert pack.value == HOSTILE
    assert record_from("run", {"pack": pack.value, "started_at": "2026-05-02T10:00", "run_min": "10"})


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({}, "Write down or change"),
        ({"what": "vehicle"}, "Add a model"),
        ({"what": "vehicle", "name": HOSTILE}, "Change this model"),
        ({"what": "run", "pack": HOSTILE}, "Write down a run"),
        ({"what": "run", "pack": HOSTILE, "at": AT.isoformat()}, "Change this run"),
        ({"what": "<b>"}, "Write down or change"),
    ],
)
def test_a_form_is_called_by_what_it_does(query: dict[str, str], said: str) -> None:
    assert change.heading(query) == said


def test_the_likeliest_chemistry_stands_first_and_none_is_missing() -> None:
    form = next(one for one in FORMS.values() if one.kind == "pack")
    offered = [key for key, _ in choices_of(open_services("sqlite://"), form)["chemistries"]]
    assert offered[0] == "lipo"
    assert sorted(offered) == sorted(each.chemistry for each in cell_voltages())
