"""What is kept between looks: as text and back, and what makes it out of date."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tracker.estimators import remembering as r
from tests.tracker.estimators.written_packs import Driven, driven
from tracker.estimators.assess import assess_packs
from tracker.estimators.cell_family import family
from tracker.estimators.history import PackHistory
from tracker.estimators.memory import CURVE_OUTINGS, Dot, Mark, Memory, digests_of, read, resumed, written
from tracker.estimators.outings import Outing, cut
from tracker.estimators.readings import Draws, Setting

numbers = st.floats(allow_nan=False, allow_infinity=False)
several = st.lists(numbers, max_size=4).map(tuple)
marks = st.builds(
    Mark, at=numbers, runs=numbers, full_cycles=numbers, log_capacity=several, log_capacity_sd=several, log_ohm=several, log_ohm_sd=several
)
dots = st.builds(Dot, at=numbers, cell=st.integers(0, 30), soc=numbers, voltage_v=numbers, weight=numbers)
rows = st.lists(numbers, max_size=9).map(lambda values: np.array(values, dtype=np.float64))
currents = st.tuples(st.none() | st.text(max_size=9), numbers, st.booleans())
memories = st.builds(
    Memory,
    digests=st.lists(st.text(max_size=18), max_size=4).map(tuple),
    rows=st.dictionaries(st.integers(0, 10**6), rows, max_size=4),
    drawn=st.lists(st.lists(currents, max_size=3), max_size=4),
    marks=st.lists(marks, max_size=3),
    dots=st.lists(st.lists(dots, max_size=3), max_size=3),
    dots_first=st.integers(0, 10**6),
)


@settings(deadline=None)
@given(memory=memories)
def test_any_memory_comes_back_the_same(memory: Memory) -> None:
    """Round trip: to the last digit, names of vehicles in any script, rows of any length."""
    again = read(written(memory))
    assert r.memory_differences(again, memory) == []
    assert written(again) == written(memory)


def test_a_learned_packs_memory_comes_back_the_same() -> None:
    """Round trip: and holds no more rows than those a new run leads back to, and one a block before them."""
    memory = assess_packs([driven(Driven(outings=60)).history], {}, {})[0].learned.memory
    assert r.memory_differences(read(written(memory)), memory) == []
    assert sorted(memory.rows) == [11, 23, 35, 47, *range(48, 60)]
    assert len(memory.digests) == len(memory.drawn) == len(memory.marks) == 60


HISTORY = driven(Driven(outings=6, resistance=(1.0, 1.0, 1.0), shown_ohm=True)).history
TYPED: Draws = {(None, "Tug"): (14.0, 0.25)}
TRIPS: dict[str, tuple[Setting, ...]] = {"Tug": (("pack_v", 9.6),)}


def digests(history: PackHistory, typed: Draws = TYPED, trips: dict[str, tuple[Setting, ...]] = TRIPS) -> tuple[str, ...]:
    return digests_of(history.pack, cut(history.pack, history.runs, history.charges, family(history.pack.chemistry)), typed, trips)


RUN_CHANGES: list[dict[str, Any]] = [
    {"run_s": 601.0}, {"vehicle": None}, {"rest_before_s": None}, {"before_v": (4.1, 4.1, 4.1)}, {"loaded_v": ()}, {"loaded_a": 16.0},
    {"mean_a": 14.0}, {"used_ah": 2.0}, {"after_v": (3.7, 3.7, 3.71)}, {"rest_after_s": 60.0}, {"cutoff_v": (9.0,)}, {"pack_k": 280.0},
    {"ended_by": "cutoff"},
]  # fmt: skip
CHARGE_CHANGES: list[dict[str, Any]] = [
    {"put_back_ah": 3.0}, {"end_v": (12.5,)}, {"goal": "storage"}, {"cell_ohm": ()}, {"pack_k": 280.0},
]  # fmt: skip


@pytest.mark.parametrize("place", [0, 3, 5])
@pytest.mark.parametrize("changes", RUN_CHANGES, ids=str)
def test_whatever_is_changed_in_a_run_is_noticed_from_there_on(place: int, changes: dict[str, Any]) -> None:
    """Limit: digests of the outings before it stay, its own and all later ones are others."""
    before, after = digests(HISTORY), digests(r.changed_run(HISTORY, place, **changes))
    assert [one == other for one, other in zip(before, after, strict=True)] == [at < place for at in range(6)]


@pytest.mark.parametrize("changes", CHARGE_CHANGES, ids=str)
def test_whatever_is_changed_in_a_charge_is_noticed_from_the_run_before_it_on(changes: dict[str, Any]) -> None:
    """Limit: a charge speaks of the outing before it as well as of the one after."""
    before, after = digests(HISTORY), digests(r.changed_charge(HISTORY, 3, **changes))
    assert [one == other for one, other in zip(before, after, strict=True)] == [True, True, False, False, False, False]


@pytest.mark.parametrize(
    "other",
    [
        lambda: digests(HISTORY, {(None, "Tug"): (15.0, 0.25)}),
        lambda: digests(HISTORY, {}),
        lambda: digests(HISTORY, TYPED, {"Tug": (("cell_v", 9.6),)}),
        lambda: digests(HISTORY, TYPED, {}),
        lambda: digests(replace(HISTORY, pack=replace(HISTORY.pack, capacity_ah=4.9))),
        lambda: digests(replace(HISTORY, pack=replace(HISTORY.pack, chemistry="lihv"))),
        lambda: digests(replace(HISTORY, pack=replace(HISTORY.pack, parallel=2))),
    ],
    ids=["typed current", "no typed current", "cutoff mode", "no controller", "capacity", "chemistry", "parallel"],
)
def test_whatever_else_an_answer_hangs_on_is_noticed(other: Callable[[], tuple[str, ...]]) -> None:
    """Limit: from the first outing on."""
    assert not set(other()) & set(digests(HISTORY))


def test_what_changes_no_answer_is_not_noticed() -> None:
    """Limit: other vehicles, and what the pack's owner wrote beside it."""
    same = digests(HISTORY, {**TYPED, (None, "Barge"): (3.0, 0.25)}, {**TRIPS, "Barge": (("none", None),)})
    assert same == digests(HISTORY)
    assert digests(replace(HISTORY, pack=replace(HISTORY.pack, notes="blue tape"))) == digests(HISTORY)
    assert digests(HISTORY) == digests(driven(Driven(outings=6, resistance=(1.0, 1.0, 1.0), shown_ohm=True)).history)


def outings(history: PackHistory) -> list[Outing]:
    return cut(history.pack, history.runs, history.charges, family(history.pack.chemistry))


def test_a_memory_of_another_number_of_cells_is_not_taken_up() -> None:
    """Breaking: even where its digests are right."""
    history = driven(Driven(outings=30)).history
    learned = assess_packs([history], {}, {})[0].learned
    of_one_cell = assess_packs([driven(Driven(outings=30, capacity=(0.98,))).history], {}, {})[0].learned.memory
    forged = replace(of_one_cell, digests=learned.memory.digests)
    assert resumed(history.pack, outings(history), learned.memory.digests, forged).start == 0
    found = assess_packs([history], {}, {}, remembered={history.pack.name: forged})[0]
    assert len(found.runs) == 30
    assert list(found.learned.memory.rows[29]) == list(learned.memory.rows[29])


@pytest.mark.parametrize("lost", [[*range(12, 30)], [11], [29], [*range(30)]])
def test_rows_that_are_missing_are_made_again(lost: list[int]) -> None:
    """Breaking: whichever; the answers are those of learning everything at once."""
    history = driven(Driven(outings=30, noise_v=0.004)).history
    whole = assess_packs([history], {}, {})[0]
    memory = whole.learned.memory
    holed = replace(memory, rows={place: row for place, row in memory.rows.items() if place not in lost})
    longer = replace(history, runs=(*history.runs, replace(history.runs[-1], started_at=history.runs[-1].started_at + timedelta(days=2))))
    found, expected = (assess_packs([longer], {}, {}, remembered=before)[0] for before in ({history.pack.name: holed}, {}))
    assert found.runs == expected.runs[len(expected.runs) - len(found.runs) :]
    assert list(found.learned.memory.rows[30]) == list(expected.learned.memory.rows[30])


def test_the_text_is_small() -> None:
    """Regression: what is kept of five hundred outings of a pack of three cells stays below a megabyte."""
    text = written(assess_packs([driven(Driven(outings=500)).history], {}, {})[0].learned.memory)
    assert len(text) < 1_000_000
    assert set(json.loads(text)) == {"digests", "rows", "drawn", "marks", "dots", "dots_first"}
    assert len(json.loads(text)["dots"]) == CURVE_OUTINGS
