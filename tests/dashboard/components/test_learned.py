"""What the page of a pack says its history teaches, with much, little and nothing known."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from dashboard.components.history_panel import cycles_words, history_facts, history_panel, restless_words, weakest_words
from dashboard.components.learned import learned_sections
from tests.dashboard.fakes import HOSTILE, NOW, guess, made_learning
from tests.dashboard.words import every, words
from tracker.domain.health import PackHealth, PackLearning
from tracker.domain.pack import Pack
from tracker.domain.results import NotEnough

CHARTS = ["pack-capacity", "pack-resistance", "pack-curve"]


def learning(cells: int = 3, outings: int = 12, *, name: str = "Tug 1", told: bool = True) -> PackLearning:
    pack = Pack(name=name, chemistry="lipo", series=cells, capacity_ah=4.0)
    return made_learning(pack, [NOW - timedelta(days=outings - index) for index in range(outings)], told=told)


def numbers(fold: Any) -> list[Any]:
    """The tables carried in a fold."""
    return [json.loads(getattr(box, "data-numbers")) for box in every(fold, "Div") if hasattr(box, "data-numbers")]


def facts(health: PackHealth) -> dict[str, str]:
    return {words(term): words(value) for term, value in history_facts(health)}


@pytest.mark.parametrize("cells", [1, 3, 6, 14])
def test_every_chart_has_a_sentence_a_name_and_its_numbers_as_a_table(cells: int) -> None:
    page = learned_sections(learning(cells))
    assert [chart.id for chart in every(page, "Graph")] == CHARTS
    figures = list(every(page, "Figure"))
    assert len(figures) == len(CHARTS)
    assert all(words(next(every(figure, "Figcaption"))).endswith(".") for figure in figures)
    pictures = [part for part in every(page, "Div") if getattr(part, "role", None) == "img"]
    assert len({getattr(part, "aria-label") for part in pictures}) == len(CHARTS)
    assert [len(numbers(fold)) for fold in every(page, "Details")] == [1, 1, 2]
    assert all(len(table["rows"]) >= 11 for fold in every(page, "Details") for table in numbers(fold))


def test_that_it_uses_what_is_known_now_is_said_once() -> None:
    assert words(learned_sections(learning())).count("uses all that is known now") == 1


def test_the_panel_says_what_the_history_says() -> None:
    assert facts(learning().health) == {
        "Holds, by its weakest cell": "3,530 ± 120 mAh, 88 ± 2 % of the rated 4,000 mAh",
        "Weakest cell": "cell 2: holds 10 ± 2 % less than the mean of the others",
        "Restless cells": "cell 3 loses 2.1 ± 0.6 % a month more by standing than the others",
        "Fade": "2.4 ± 0.6 % of its capacity in 100 weighted cycles",
        "Runs left to 80 % of rated": "110 runs (70 to 190 runs) like those so far",
        "Resistance": "1.12 ± 0.05 times what it was at the start",
        "Charge drawn": "8.4 full cycles; 7.2 when each run is weighted by its depth",
    }
    said = words(history_panel(learning().health))
    assert said.index("Fading slowly") < said.index("Holds")
    assert "is a convention" in said


def test_one_cell_is_neither_weakest_nor_restless() -> None:
    assert set(facts(learning(1).health)) & {"Weakest cell", "Restless cells"} == set()


def test_a_reason_the_sentence_has_given_is_not_given_again() -> None:
    health = learning().health
    early, other = NotEnough("Too early to say: 3 runs so far"), NotEnough("No loaded voltage was written down.")
    outlook = replace(
        health.outlook, fade_per_100_cycles=early, runs_left=early, resistance_growth=other, sentence="Too early to say: 3 runs so far."
    )
    said = facts(replace(health, outlook=outlook))
    assert "Fade" not in said
    assert "Runs left to 80 % of rated" not in said
    assert said["Resistance"] == "No loaded voltage was written down."


def test_no_cell_is_named_without_evidence() -> None:
    health = replace(learning().health, weakest_cell=None, restless_cells=())
    assert weakest_words(health) == "none stands out"
    assert restless_words(health) == "none seen"
    named = replace(health, weakest_cell=2, weakest_ratio=NotEnough("one cell"), restless_cells=(1, 2))
    assert weakest_words(named) == "cell 2"
    assert restless_words(named).count("loses") == 2


@pytest.mark.parametrize(
    ("cycles", "said"), [(0.0, "0 full cycles"), (1.0, "1 full cycle"), (23.44, "23.4 full cycles"), (1234.5, "1,234 full cycles")]
)
def test_cycles_are_counted_as_finely_as_they_are_worth(cycles: float, said: str) -> None:
    assert cycles_words(cycles) == said


def test_nothing_learned_says_what_to_write_down_and_why_not_yet() -> None:
    page = learned_sections(learning(2, 3))
    assert list(every(page, "Graph")) == []
    said = words(page)
    assert "Write down what the charger put back after a few runs and this shows" in said
    assert "Not enough so far: no charge was counted yet. Write" in said.replace("  ", " ")


def test_a_curve_or_resistance_alone_is_still_shown() -> None:
    known = learning()
    blind = tuple(replace(point, capacity_ah=(NotEnough("no"),) * 3) for point in known.points)
    health = replace(known.health, capacity_ah=NotEnough("No charge was counted yet."))
    page = learned_sections(replace(known, points=blind, health=health))
    assert [chart.id for chart in every(page, "Graph")] == CHARTS[1:]
    assert "no charge was counted yet" in words(page).lower(), "the panel says what else is known, and of the capacity why it is not"


def test_nothing_known_says_what_it_takes() -> None:
    known = learning()
    why = NotEnough("No charge was counted yet.")
    cells = tuple(replace(cell, capacity_ah=why, resistance_ohm=why, excess_loss_per_month=why) for cell in known.health.cells)
    health = replace(known.health, capacity_ah=why, weakest_ratio=why, cells=cells)
    page = learned_sections(replace(known, points=(), health=health))
    assert "Write down what the charger put back" in words(page)


def test_very_many_rows_are_thinned_and_it_is_said() -> None:
    said = words(learned_sections(learning(6, 1000)))
    assert "200 of 1,000 rows, evenly chosen." in said
    assert "200 of 12,000 rows, evenly chosen." in said


def test_hostile_names_reach_no_chart() -> None:
    known = learning(name=HOSTILE)
    charts = [str(chart.figure) for chart in every(learned_sections(known), "Graph")]
    assert len(charts) == 3
    assert not any("alert" in chart for chart in charts)


def test_a_share_that_leans_is_written_from_end_to_end() -> None:
    health = replace(learning().health, weakest_ratio=replace(guess(0.9, 0.05), low=0.7))
    assert "10 % (5 to 30 %) less" in weakest_words(health).replace("\u00a0", " ")


def test_the_sections_are_made_of_few_parts() -> None:
    """Every part costs at each change of the page, far more than its bytes."""

    def parts(component: Any) -> int:
        if isinstance(component, list | tuple):
            return sum(map(parts, component))
        return 1 + parts(getattr(component, "children", None)) if hasattr(component, "_type") else 0

    assert parts(learned_sections(learning(14, 400))) < 120
