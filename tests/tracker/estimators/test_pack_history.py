"""Learning taken up where it was left, against learning everything at once: the same to the last digit, and no more work than said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import cache
from itertools import product

import pytest

from tests.tracker.estimators import remembering as r
from tests.tracker.estimators.written_packs import START, Driven, driven
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.session import Charge, Run
from tracker.estimators.assess import PackAssessment, assess_packs
from tracker.estimators.history import PackHistory
from tracker.estimators.pack_history import BLOCK

pytestmark = pytest.mark.long

CAPACITY = (0.98, 0.95, 0.9)
Change = Callable[[PackHistory], PackHistory]


def rich(cells: int, outings: int, runs_each: int = 1, **more: object) -> PackHistory:
    """A pack of which nearly everything is written down, read with noise."""
    how = Driven(
        capacity=CAPACITY[:cells], outings=outings, runs_each=runs_each, resistance=(1.0, 1.1, 1.3)[:cells], shown_ohm=True, noise_v=0.006,
        rest_s=(600.0, 3600.0, 7200.0), idle=(timedelta(hours=2), timedelta(days=9)), pack_k=291.0,
    )  # fmt: skip
    return driven(replace(how, **more)).history  # type: ignore[arg-type]


@pytest.mark.parametrize(("cells", "runs_each", "first"), [(1, 1, 0), (2, 3, BLOCK - 2)])
def test_row_by_row_is_the_same_as_all_at_once(cells: int, runs_each: int, first: int) -> None:
    """Regression: over more than two blocks, each run written down before the charge after it; from the beginning, or what came first at once."""
    outings = 2 * BLOCK + 2
    history = rich(cells, outings, runs_each)
    diary = r.Diary()
    for so_far in r.growing(history):
        if len(so_far.runs) > first * runs_each:
            diary.look(so_far)
    assert len(diary.fresh) == (outings - first) * (runs_each + 1)
    assert diary.differences(history) == []
    assert max(diary.fresh) <= 2 * BLOCK * runs_each
    assert diary.fresh[-1] < len(history.runs)


def test_uncounted_and_voltage_less_runs_are_learned_row_by_row_too() -> None:
    """Regression: where usual draws, totals and cutoffs have to stand in, and charges come in a mixed order."""
    history = rich(3, 30, vehicle="Tug")
    runs = list(history.runs)
    for place in range(8, 30):
        if place % 3 == 0:
            runs[place] = replace(runs[place], after_v=(), loaded_v=(), loaded_a=None, vehicle=None if place % 2 else "Tug")
        elif place % 3 == 1:
            runs[place] = replace(
                runs[place], before_v=(), after_v=(round(sum(runs[place].after_v), 2),), loaded_v=(9.9,), ended_by="cutoff"
            )
    charges = [replace(each, put_back_ah=None) if place % 4 == 2 else each for place, each in enumerate(history.charges)]
    charges[12] = replace(charges[12], goal="storage")
    charges[13] = replace(charges[13], goal="partial", end_v=(12.2,))
    mixed = replace(history, runs=tuple(runs), charges=tuple(charges))
    vehicles = {"Tug": Vehicle(name="Tug", controllers=("Left",), usual_a=14.0)}
    controllers = {"Left": Controller(name="Left", cutoff_mode="cell_v", cutoff_v=3.2)}
    diary = r.Diary()
    for so_far in r.growing(mixed):
        if so_far.runs:
            diary.look(so_far, vehicles, controllers)
    assert diary.differences(mixed, vehicles, controllers) == []


def test_charges_written_down_a_week_late_are_learned_the_same() -> None:
    """Regression: first all runs, then the charges between them, last ones first."""
    history = rich(2, 30)
    diary = r.Diary()
    diary.look(replace(history, charges=history.charges[:1]))
    for count in range(3):
        diary.look(replace(history, charges=(history.charges[0], *history.charges[-1 - count :])))
    diary.look(history)
    assert diary.differences(history) == []


BACK_DATED = Run(pack="Pond 1", started_at=START + timedelta(days=40, hours=1, minutes=7), run_s=400.0, after_v=(11.4,), vehicle="Tug")


@cache
def looked_at() -> tuple[PackHistory, PackHistory, r.Diary]:
    """A history of more than three blocks, the same without its last one, and what is stored of that."""
    history = rich(2, 3 * BLOCK + 2)
    shorter = replace(history, runs=history.runs[:-1], charges=history.charges[:-2])
    diary = r.Diary()
    diary.look(shorter)
    return history, shorter, diary


CHANGES: dict[str, Callable[[PackHistory, int], PackHistory]] = {
    "other readings": lambda history, place: r.changed_run(history, place, after_v=(3.71, 3.72)),
    "other time": lambda history, place: r.changed_run(history, place, started_at=history.runs[place].started_at - timedelta(minutes=3)),
    "removed": r.without_run,
    "other count": lambda history, place: r.changed_charge(history, place, put_back_ah=4.1),
    "other goal": lambda history, place: r.changed_charge(history, place, goal="storage", cell_ohm=()),
    "charge removed": r.without_charge,
    "all later ones removed": lambda history, place: replace(history, runs=history.runs[:place] or history.runs[:1]),
}
CHANGED = list(product(CHANGES, (0, 12, 29, 36)))


@cache
def changed_and_more() -> dict[tuple[str, int], tuple[tuple[PackHistory, PackAssessment], tuple[PackHistory, PackAssessment]]]:
    """After each change, and after one more run then: histories, and what learning all at once says of them."""
    history, shorter, _ = looked_at()
    changed = [CHANGES[name](shorter, place) for name, place in CHANGED]
    more = [replace(each, runs=(*each.runs, history.runs[-1]), charges=(*each.charges, *history.charges[-2:])) for each in changed]
    # Many packs together are the same as each alone: see the test of that below.
    whole = list(zip([*changed, *more], assess_packs([*changed, *more], {}, {}), strict=True))
    return dict(zip(CHANGED, zip(whole[: len(changed)], whole[len(changed) :], strict=True), strict=True))


@pytest.mark.parametrize(("change", "place"), CHANGED)
def test_after_a_change_anywhere_it_is_the_same_as_all_at_once(change: str, place: int) -> None:
    """Regression: one row of many changed or removed, and then one more run written down."""
    stored = looked_at()[2]
    diary = r.Diary(dict(stored.estimates), stored.text)
    for history, whole in changed_and_more()[change, place]:
        diary.look(history)
        assert diary.differences_from(whole) == []


def test_a_back_dated_run_and_one_before_all_others() -> None:
    """Regression: what is written in between or in front moves everything after it."""
    history = rich(2, 30)
    diary = r.Diary()
    diary.look(history)
    for run in (BACK_DATED, replace(BACK_DATED, started_at=START - timedelta(days=3))):
        history = replace(history, runs=tuple(sorted([*history.runs, run], key=lambda each: each.started_at)))
        diary.look(history)
        assert diary.differences(history) == []


def test_removing_from_a_long_history_keeps_the_readings_beside_the_curve() -> None:
    """Regression: with more outings than are shown beside the curve, those that come into sight again are not lost."""
    history = rich(1, 90)
    diary = r.Diary()
    diary.look(history)
    for _ in range(2):
        history = r.without_run(history, len(history.runs) - 1)
        diary.look(history)
        assert diary.differences(history) == []


@pytest.mark.parametrize(
    ("vehicles", "controllers"),
    [
        ({"Tug": Vehicle(name="Tug", controllers=("Left",), usual_a=12.0)}, {"Left": Controller(name="Left", cutoff_mode="pack_v", cutoff_v=6.4)}),
        ({"Tug": Vehicle(name="Tug", controllers=("Left",), usual_a=20.0)}, {"Left": Controller(name="Left", cutoff_mode="pack_v", cutoff_v=6.0)}),
        ({"Tug": Vehicle(name="Tug")}, {}),
    ],
    ids=["current", "cutoff", "taken away"],
)  # fmt: skip
def test_what_was_typed_of_a_vehicle_changes(vehicles: dict[str, Vehicle], controllers: dict[str, Controller]) -> None:
    """Regression: runs without a voltage lean on its usual current or cutoff, which are not rows of the pack."""
    history = rich(2, 30)
    bare = tuple(
        replace(run, after_v=(), ended_by="cutoff", loaded_v=(), loaded_a=None, mean_a=15.0 if place % 2 else None)
        for place, run in enumerate(history.runs)
    )
    history = replace(history, runs=bare, charges=tuple(replace(charge, put_back_ah=None) for charge in history.charges))
    diary = r.Diary()
    before = (
        {"Tug": Vehicle(name="Tug", controllers=("Left",), usual_a=20.0)},
        {"Left": Controller(name="Left", cutoff_mode="pack_v", cutoff_v=6.4)},
    )
    diary.look(history, *before)
    first = dict(diary.estimates)
    diary.look(history, vehicles, controllers)
    assert diary.differences(history, vehicles, controllers) == []
    assert diary.estimates != first


def test_a_packs_label_changes() -> None:
    """Regression: with another rated capacity or chemistry everything is learned anew."""
    history = rich(2, 30)
    diary = r.Diary()
    diary.look(history)
    for change in ({"capacity_ah": 4.4}, {"chemistry": "lihv"}, {"parallel": 2}):
        other = replace(history, pack=replace(history.pack, **change))
        diary.look(other)
        assert diary.fresh[-1] == 30
        assert diary.differences(other) == []


def test_only_what_may_have_changed_is_estimated_anew() -> None:
    """Regression: a look at nothing new, a run at the end, and a change at the front of a history of four blocks and a bit."""
    history = rich(1, 4 * BLOCK + 3)
    diary = r.Diary()
    diary.look(replace(history, runs=history.runs[:-1], charges=history.charges[:-1]))
    diary.look(history)
    diary.look(history)
    diary.look(r.changed_run(history, 2 * BLOCK + 5, run_s=777.0))
    diary.look(r.changed_run(history, 0, run_s=777.0))
    total = 4 * BLOCK + 3
    assert diary.fresh == [total - 1, total - 3 * BLOCK, total - 3 * BLOCK, total - BLOCK, total]


def test_many_packs_together_are_the_same_as_each_alone() -> None:
    """Regression: packs of several chemistries, lengths and numbers of cells, some remembered and some not."""
    some = [rich(cells, outings, name=f"{kind} {cells} {outings}", chemistry=kind) for kind, cells, outings in (
        ("lipo", 2, 26), ("lipo", 2, 3), ("life", 1, 13), ("lipo", 3, 8), ("nimh", 2, 14), ("lead", 3, 5), ("liion", 2, 1), ("lipo", 2, 30),
    )]  # fmt: skip
    some.append(replace(some[0], pack=replace(some[0].pack, name="never run"), runs=(), charges=()))
    alone = [assess_packs([history], {}, {})[0] for history in some]
    remembered = {each.pack: each.learned.memory for each in alone[::2]}
    for before in ({}, remembered):
        for found, expected in zip(assess_packs(some, {}, {}, remembered=before), alone, strict=True):
            assert found.runs == expected.runs[len(expected.runs) - len(found.runs) :]
            assert r.memory_differences(found.learned.memory, expected.learned.memory) == []
    assert len(assess_packs([some[7]], {}, {}, remembered={some[7].pack.name: alone[7].learned.memory})[0].runs) < 30


def test_runs_without_any_charge_and_charges_without_any_run() -> None:
    """Breaking: half a logbook is a logbook too."""
    history = rich(2, 30)
    diary = r.Diary()
    for count in (1, 2, 13, 30):
        diary.look(replace(history, runs=history.runs[:count], charges=()))
    assert diary.differences(replace(history, charges=())) == []
    found = assess_packs([replace(history, runs=())], {}, {})[0]
    assert found.runs == ()
    assert found.learned.memory.digests == ()
    # The first charge ever written down tells of every earlier run that none was kept for it.
    diary.look(
        replace(history, charges=(Charge(pack="Pond 1", finished_at=history.runs[20].started_at - timedelta(hours=1), goal="full"),))
    )
    assert (
        diary.differences(
            replace(history, charges=(Charge(pack="Pond 1", finished_at=history.runs[20].started_at - timedelta(hours=1), goal="full"),))
        )
        == []
    )
