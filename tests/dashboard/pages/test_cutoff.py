"""The cutoff page as words: the advice, the present controllers, what is wrong with what was asked, and hostile names."""

from __future__ import annotations

import json

import pytest
from dash.development.base_component import Component
from flask import Flask

from dashboard.components.form import texts_of
from dashboard.components.present import together_lines
from dashboard.figures import cutoff_curve, voltage_ladder
from dashboard.pages import cutoff
from dashboard.reading import COOKIE
from dashboard.theme import temperature
from tests.dashboard.fake_plans import HOSTILE, LONG, guess, made_plan
from tests.dashboard.fakes import FakeServices, club_services, empty_services
from tests.dashboard.figures.checked import checked
from tests.dashboard.words import every, words
from tracker.domain.controller import Controller
from tracker.domain.planning import CutoffPlan, CutoffTask, PresentState
from tracker.domain.results import NotEnough

CLUB = club_services()
ASKED = {"pack": "Tug 1", "vehicle": "Snow groomer"}
TASK = CutoffTask(pack="Tug 1", vehicle="Snow groomer")


def shown(services: FakeServices, **query: str) -> Component:
    """The page with its answer, as it stands once both have come."""
    packs, vehicles = services.packs.all(), services.controllers.vehicles()
    asked = cutoff.filled(texts_of(query, cutoff.FIELDS), packs, vehicles)
    answer = cutoff.answered(services, asked, whole=True)
    return cutoff.page(cutoff.form(asked, packs, vehicles, answer.problems), answer, asked)


def test_what_follows_is_asked_for_with_the_page() -> None:
    """What was asked is told to the store, out of which the rest is made: names of all kinds come back as they were."""
    query = {"pack": "Tug 1", "vehicle": "Snow groomer", "c": "-3,5"}
    page = cutoff.layout(CLUB, **query)
    assert "Let go at" in words(page)
    [_, store] = every(page, "Store")
    assert store.data["left"]
    assert texts_of(store.data["asked"], cutoff.FIELDS) == texts_of(query, cutoff.FIELDS)
    for nothing_left in (cutoff.layout(CLUB), cutoff.layout(CLUB, pack="Nobody", vehicle="Snow groomer")):
        [_, store] = every(nothing_left, "Store")
        assert not hasattr(store, "data")  # not even None, which would count as something told


def plan_of(*controllers: Controller, safe: bool = True, risk: float = 0.01) -> CutoffPlan:
    return made_plan(CutoffTask(pack="Tug 1", vehicle="Snow groomer", risk=risk), 2, controllers, safe=safe)


def test_the_advice_comes_first_with_why_and_the_timer() -> None:
    said = words(shown(CLUB, **ASKED))
    assert "6.50 V for the pack, 3.25 V a cell" in " ".join(said.split())
    assert said.index("Let go at") < said.index("What each cutoff risks") < said.index("What the present controllers risk")
    assert "The weakest cell counts." in said
    assert "10.7 min, then 20 % are left" in said
    assert "Prove a changed cutoff on the bench" in said
    assert "The instructions of the pack's and the controller's makers come first" in said


def test_what_takes_longest_follows_and_the_advice_does_not_wait_for_it() -> None:
    asked = texts_of(ASKED, cutoff.FIELDS)
    first, whole = cutoff.answered(CLUB, asked), cutoff.answered(CLUB, asked, whole=True)
    assert (first.whole, whole.whole) == (False, True)
    assert words(first.advice) == words(whole.advice)
    assert "Let go at" in words(first.advice)
    assert "What they come to together is being worked out" in words(first.rest)
    assert "All together: run until the last lets go" in words(whole.rest)
    for answer in (first, whole):
        assert "Left track" in words(answer.rest)
        assert "Prove a changed cutoff on the bench" in words(answer.rest)


def test_another_risk_moves_the_advice() -> None:
    strict, loose = (words(shown(CLUB, **ASKED, risk=risk)) for risk in ("0.002", "0.2"))
    assert "6.60 V" in strict
    assert "6.30 V" in loose


def test_every_present_controller_is_judged_and_the_unsafe_ones_marked() -> None:
    page = shown(CLUB, **ASKED)
    [table] = [one for one in every(page, "Table") if "Present controllers" in words(one)]
    rows = [words(row) for row in every(table, "Tr")][1:]
    assert ["Left track" in row for row in rows] == [True, False]
    assert "Caution" in rows[0]
    assert "Stop" in rows[1]
    assert "over 99 %" in rows[1]
    said = words(page)
    assert "All together: run until the last lets go, a cell goes below its floor in 31 % of runs." in said
    assert "Driven on whenever the pack has come back: in 52 % of runs." in said


def test_what_is_chosen_stands_in_the_fields() -> None:
    page = shown(CLUB, **ASKED, c="-3,5", risk="0.03")
    chosen = [words(option) for option in every(page, "Option") if option.selected]
    assert chosen == ["Tug 1", "Snow groomer", "3 % of runs"]
    assert [field.value for field in every(page, "Input") if field.type != "hidden"] == ["-3,5", "", ""]


@pytest.mark.parametrize(
    ("cookie", "asked", "name", "value", "said_k"),
    [
        ("c", {}, "c", "25", 298.15),
        ("f", {}, "f", "77", 298.15),
        ("f", {"c": "0"}, "f", "32", 273.15),
        ("c", {"f": "50"}, "c", "10", 283.15),
        ("f", {"f": "14"}, "f", "14", 263.15),
    ],
)
def test_the_temperature_is_asked_in_the_degrees_of_the_reader(
    cookie: str, asked: dict[str, str], name: str, value: str, said_k: float
) -> None:  # fmt: skip
    """A bookmark made in other degrees still means what it did."""
    with Flask("reader").test_request_context(headers={"Cookie": f"{COOKIE}={cookie}-point-words"}):
        page = shown(CLUB, **ASKED, **asked)
        [field] = [field for field in every(page, "Input") if field.type != "hidden" and field.name in {"c", "f"}]
        assert (field.name, field.value) == (name, value)
        assert [field.value for field in every(page, "Input") if field.type == "hidden"] == [""]
        assert temperature(said_k).replace("\xa0", " ") in words(page)


@pytest.mark.parametrize(("field", "text"), [("c", "warm"), ("risk", "2"), ("mean_a", "-1"), ("burst_a", "many")])
def test_what_is_wrong_is_said_at_its_field_and_no_answer_given(field: str, text: str) -> None:
    page = shown(CLUB, **ASKED, **{field: text})
    [label] = [one for one in every(page, "Label") if one.htmlFor == f"cutoff-{field}"]
    assert "allowed" in words(label)
    assert "Let go at" not in words(page)
    assert "Correct what is marked above" in words(page)


def test_an_unknown_pack_is_said() -> None:
    said = words(shown(CLUB, pack=HOSTILE + "x", vehicle="Snow groomer"))
    assert "No answer: " in said
    assert "is not known" in said


def test_before_anything_is_chosen_the_page_says_what_to_do() -> None:
    assert "Choose a pack and a model above" in words(shown(CLUB))
    assert "Choose a pack and a model above" in words(shown(CLUB, pack="Tug 1"))


def test_an_empty_database_offers_the_first_steps() -> None:
    said = words(cutoff.layout(empty_services()))
    assert "No packs yet" in said
    assert "pack-tracker demo" in said


def test_without_a_safe_cutoff_nothing_is_advised() -> None:
    said = words(cutoff.result(plan_of(safe=False)))
    assert "No cutoff is safe enough" in said
    assert "advised" not in said
    assert "Let go at" not in said


def test_a_model_without_controllers_is_told_what_to_use_instead() -> None:
    said = words(shown(CLUB, pack="Tug 1", vehicle="Bare hull"))
    assert "No controllers are written down" in said
    assert "use an alarm and the timer" in said


@pytest.mark.parametrize(("hours", "said"), [(0.005, "less than a minute"), (0.5, "30 ± 6 min"), (21.0, "21 ± 6 h")])
def test_how_long_a_forgotten_pack_lasts_is_said_in_a_fitting_unit(hours: float, said: str) -> None:
    together = PresentState(
        below_floor_probability=0.3,
        driven_on_probability=0.5,
        after_first_ah=NotEnough("None."),
        hours_to_floor=guess(hours, 6.0 if hours > 2 else 0.1),
    )
    assert said in together_lines(together, 1)[-1].replace("\u00a0", " ")


def test_hostile_names_stay_text() -> None:
    page = shown(CLUB, pack=HOSTILE, vehicle=HOSTILE)
    assert HOSTILE in words(page)
    figures = [json.dumps(one.figure) for one in every(page, "Graph")]
    assert len(figures) == 2
    assert all("<script" not in figure and "\\u003cscript" not in figure for figure in figures)


def test_the_curve_leaves_out_most_of_what_is_certain_harm_and_its_table_nothing() -> None:
    plan = plan_of()
    points = cutoff_curve.drawn_points(plan.curve)
    assert points[0].pack_v == pytest.approx(6.2 - 0.3)
    columns, rows = cutoff_curve.cutoff_table(plan)
    assert len(rows) == len(plan.curve)
    assert all(len(row) == len(columns) for row in rows)
    assert sum("advised" in row[0] for row in rows) == 1


def test_a_risk_that_no_draw_showed_is_drawn_and_not_called_none() -> None:
    plan = plan_of()
    [risk, _] = checked(cutoff_curve.cutoff_figure)(plan).data
    assert min(risk.y) == cutoff_curve.LEAST_RISK
    assert "under 0.1 %" in cutoff_curve.cutoff_sentence(plan).replace("\u00a0", " ")


def test_the_ladder_names_every_rung_and_shows_measured_and_set_apart() -> None:
    controllers = CLUB.controllers.all()
    plan = plan_of(*[one for one in controllers if one.name in {"Left track", "Right track", "Old drive"}])
    figure = checked(voltage_ladder.ladder_figure)(plan)
    said = [annotation.text for annotation in figure.layout.annotations]
    assert [word for word in ("full", "floor", "advised") if any(f"<b>{word}</b>" in text for text in said)] == ["full", "floor", "advised"]
    assert [trace.marker.symbol for trace in figure.data] == ["diamond-wide", "diamond-wide"]
    assert any("never" in text for text in said)
    sentence = voltage_ladder.ladder_sentence(plan).replace("\u00a0", " ")
    assert sentence == "2 of 3 controllers let go below the advised 6.50 V and 1 below the floor of 6.00 V. 1 never lets go."
    alone = voltage_ladder.ladder_sentence(plan_of(next(one for one in controllers if one.name == "Right track"))).replace("\u00a0", " ")
    assert "and 1 below" not in alone
    _, rows = voltage_ladder.ladder_table(plan)
    assert [row[0] for row in rows] == ["full", "advised cutoff", "Left track", "floor", "Right track", "Old drive"]


def test_long_names_are_cut_in_the_picture_and_whole_in_the_table() -> None:
    plan = plan_of(*[one for one in CLUB.controllers.all() if one.name == LONG])
    [name] = checked(voltage_ladder.ladder_figure)(plan).layout.xaxis.ticktext
    assert len(name.split("<br>")[0]) < 24
    assert LONG in [row[0] for row in voltage_ladder.ladder_table(plan)[1]]
