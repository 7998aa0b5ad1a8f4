"""The controllers page as words: settings and bench results, a test noted step by step, and the resistor that moves a trip."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from dashboard.components.bench_recorder import so_far, steps_list
from dashboard.pages import controllers
from tests.dashboard.fake_plans import HOSTILE, FakeControllers
from tests.dashboard.fakes import FakeServices, club_services, empty_services
from tests.dashboard.words import every, words
from tracker.domain.controller import Controller

CLUB = club_services()
NOW = datetime(2025, 9, 20, 12, 0, 0, 123, tzinfo=UTC)
DOWN = [["6,6", True], ["6.5", True], ["6.4", False]]
PARTS = {"top": "10k", "bottom": "10k", "trips": "5.05", "wanted": "6.4"}


def rows(page: Any, caption: str) -> dict[str, str]:
    [table] = [one for one in every(page, "Table") if words(next(every(one, "Caption"))) == caption]
    return {words(next(every(row, "Th"))): words(row) for row in list(every(table, "Tr"))[1:]}


def test_every_controller_stands_with_its_setting_and_its_test() -> None:
    listed = rows(controllers.layout(CLUB), "Controllers")
    assert list(listed) == [one.name for one in CLUB.controllers.all()]
    assert "6.40 V of the pack" in listed["Left track"]
    assert "6.45 ±" in listed["Left track"]
    assert "3 Aug 2025, let go 2 times" in listed["Left track"]
    assert "Snow groomer , 50 % of the load" in listed["Left track"]
    assert "not tested" in listed["Right track"]
    assert "set to 5.60 V" in listed["Right track"]
    assert "no cutoff" in listed["Old drive"]
    assert "3.30 V a cell" in listed[HOSTILE]


def test_who_shares_a_pack_is_told_with_the_trip_that_decides() -> None:
    said = " ".join(words(controllers.layout(CLUB)).split())
    assert "Snow groomer : Left track and Right track . The lowest trip decides: Right track at 5.00 V." in said
    assert "Old drive never lets go" in said


def test_an_empty_database_offers_the_first_steps() -> None:
    page = controllers.layout(empty_services())
    assert "No controllers yet" in words(page)
    assert "Take a bench test" not in [words(one) for one in every(page, "H2")]


def test_steps_are_read_one_by_one_and_what_cannot_be_read_is_said() -> None:
    noted = controllers.noted_steps({"Left track": [*DOWN, ["", True], ["740", False]]}, "Left track")
    assert [step.supply_v for step in noted] == [6.6, 6.5, 6.4, None, None]
    said = words(steps_list(noted))
    assert said.index("5. 740") < said.index("1. 6.60 V")
    assert "Nothing is given" in said
    assert said.count("Undo this step.") == 2


def test_the_threshold_so_far_follows_the_steps() -> None:
    def told(count: int) -> str:
        noted = controllers.noted_steps({"Left track": DOWN[:count]}, "Left track")
        return words(so_far(controllers.judged(CLUB, "Left track", noted), noted))

    assert "Note the first step" in told(0)
    assert "Noted 6.60 V, running." in told(1)
    assert "It has not let go yet" in told(2)
    assert "Lets go at 6.45 ±" in told(3)
    assert "Turn up until it runs again" in told(3)


def fresh() -> tuple[FakeServices, FakeControllers]:
    services = club_services()
    return services, services.controllers


def test_a_test_is_stored_with_its_time_and_what_it_adds_is_said() -> None:
    services, kept = fresh()
    said, stored = controllers.saved(services, "Right track", controllers.noted_steps({"Right track": DOWN}, "Right track"), NOW)
    assert stored
    assert "Saved." in words(said)
    assert "6.45 ±" in words(said)
    assert kept.stored[-1].controller == "Right track"
    assert kept.stored[-1].tested_at == NOW.replace(microsecond=0)
    assert [reading.running for reading in kept.stored[-1].readings] == [True, True, False]


@pytest.mark.parametrize(
    ("chosen", "steps", "why"),
    [
        ("", DOWN, "No controller is chosen"),
        ("Right track", [], "0 are given"),
        ("Right track", DOWN[:1], "1 are given"),
        ("Right track", [*DOWN, ["seven", True]], "One step cannot be read"),
        ("Nobody", DOWN, "is not known"),
    ],
)
def test_what_cannot_be_stored_is_said_and_changes_nothing(chosen: str, steps: list[Any], why: str) -> None:
    services, kept = fresh()
    before = list(kept.stored)
    said, stored = controllers.saved(services, chosen, controllers.noted_steps({chosen: steps}, chosen), NOW)
    assert not stored
    assert "Not saved." in words(said)
    assert why in words(said)
    assert kept.stored == before


def test_the_resistor_stands_with_its_cautions_limits_and_other_places() -> None:
    page = controllers.layout(CLUB, **PARTS)
    said = words(page)
    assert "18 kΩ" in said
    assert said.index("The resistor") < said.index("What to heed") < said.index("Values that can be bought")
    assert "for those who can solder fine-pitch parts" in said
    assert "until a bench test shows it" in said
    assert set(rows(page, "Places")) == {
        "Across the bottom resistor",
        "Across the top resistor",
        "In series with the top resistor",
        "In series with the bottom resistor",
    }
    assert "nearest, and not below" in rows(page, "Values")["18 kΩ"]


def test_with_only_a_ratio_the_resistor_is_told_in_units_of_one_part() -> None:
    said = words(controllers.layout(CLUB, ratio="1", trips="5,05", wanted="6,4"))
    assert "1.87 times the bottom resistor" in said
    assert "not known before that resistor is" in said


@pytest.mark.parametrize(
    ("changed", "field", "why"),
    [
        ({"top": "ten"}, "top", "is not a resistance"),
        ({"bottom": ""}, "bottom", "needed is this resistor too"),
        ({"wanted": ""}, "wanted", "needed is a voltage"),
        ({"within": "-1"}, "within", "allowed"),
        ({"trips": "0"}, "trips", "allowed"),
    ],
)
def test_what_is_wrong_is_said_at_its_field(changed: dict[str, str], field: str, why: str) -> None:
    page = controllers.layout(CLUB, **(PARTS | changed))
    [label] = [one for one in every(page, "Label") if one.htmlFor == f"divider-{field}"]
    assert why in words(label)
    assert "What to heed" not in words(page)


def test_what_no_resistor_can_do_is_said() -> None:
    said = words(controllers.layout(CLUB, **PARTS, place="across_top"))
    assert "No answer: " in said


def test_nothing_asked_is_no_fault() -> None:
    assert "No answer" not in words(controllers.layout(CLUB))


def test_a_controller_with_no_test_and_no_setting_is_listed() -> None:
    lone = FakeControllers([Controller(name="Bare", cutoff_mode="pack_v")], (), ())
    services = FakeServices(CLUB.packs, lone, CLUB.planning)
    assert "not recorded" in rows(controllers.layout(services), "Controllers")["Bare"]
