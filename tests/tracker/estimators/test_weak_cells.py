"""Cells that hold less than their neighbours, or came to: when they are believed to, and how soon."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.tracker.estimators import remembering as r
from tests.tracker.estimators.written_packs import Driven, driven
from tracker.domain.health import PackHealth
from tracker.domain.results import Estimate, NotEnough
from tracker.estimators.assess import PackAssessment, assess_packs
from tracker.estimators.history import PackHistory
from tracker.estimators.pack_history import AGAIN_SOC, APART_SOC, ODD_SOC, ORDINARY_DEPTH, room_for


@cache
def judged(history: PackHistory) -> PackAssessment:
    """What a history says: asked for more than one thing, it is read once."""
    return assess_packs([history], {}, {})[0]


def health(history: PackHistory) -> PackHealth:
    return judged(history).learning.health


def capacities(history: PackHistory) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Of each cell over rated, sure or not."""
    states = judged(history).learned.states()
    return np.asarray(np.exp(states.belief.mean[0, : history.pack.series]))


def first(history: PackHistory, count: int) -> PackHistory:
    return replace(history, runs=history.runs[:count], charges=history.charges[: count + 1])


def ratio(of: PackHealth) -> Estimate:
    assert isinstance(of.weakest_ratio, Estimate)
    return of.weakest_ratio


ALIKE = driven(Driven(outings=20, noise_v=0.004, depths=(0.6, 0.7))).history


def odd(history: PackHistory, *places: int, by_v: float = 0.10) -> PackHistory:
    """The history with the third cell read lower after some runs."""
    for place in places:
        volts = history.runs[place].after_v
        history = r.changed_run(history, place, after_v=(*volts[:2], volts[2] - by_v))
    return history


@pytest.mark.parametrize("by_v", [0.05, 0.10, 0.20, 0.5])
def test_one_odd_reading_does_not_make_a_cell_weak(by_v: float) -> None:
    """Limit: at the end, where nothing later speaks for the cell, its capacity stays with its neighbours'."""
    found = capacities(odd(first(ALIKE, 12), 11, by_v=by_v))
    assert found[2] / found[:2].mean() > 0.97
    assert health(odd(first(ALIKE, 12), 11, by_v=by_v)).weakest_cell is None


def test_two_alike_do() -> None:
    """Limit: read low twice running by the same, the cell is taken to have changed; twice but not running, or not alike, it is not."""
    twice = capacities(odd(first(ALIKE, 12), 10, 11))
    assert twice[2] / twice[:2].mean() < 0.90
    assert health(odd(first(ALIKE, 12), 10, 11)).weakest_cell == 3
    for places in ((8, 11), (5, 8)):
        apart = capacities(odd(first(ALIKE, 12), *places))
        assert apart[2] / apart[:2].mean() > 0.95
    unlike = capacities(odd(odd(first(ALIKE, 12), 10, by_v=-0.10), 11))
    assert unlike[2] / unlike[:2].mean() > 0.95


def test_an_odd_reading_is_forgotten() -> None:
    """Limit: after more ordinary readings a cell that was odd twice is no weak one any more; one that stays odd is named."""
    once_odd, odd_from_then_on = capacities(odd(ALIKE, 4, 5)), odd(ALIKE, *range(10, 20))
    assert once_odd[2] / once_odd[:2].mean() > 0.96
    assert health(odd(ALIKE, 4, 5)).weakest_cell is None
    assert health(odd_from_then_on).weakest_cell == 3


@pytest.mark.parametrize(
    ("apart", "last", "seen", "expected"),
    [
        (-0.10, 0.0, 0.0, (0.10 / ORDINARY_DEPTH) ** 2),  # the first reading ever shows how cells differ
        (APART_SOC + 0.01, 0.0, 0.0, 0.0),  # unless it must be a slip
        (-0.10, 0.0, 5.0, 0.0),  # later, once is not enough
        (-0.10, -0.12, 5.0, (0.10 / ORDINARY_DEPTH) ** 2),  # twice is, by the smaller
        (-0.10, 0.10, 5.0, 0.0),  # not to both sides
        (-0.10, -0.10 - 1.01 * AGAIN_SOC, 5.0, 0.0),  # not when far from each other
        (-ODD_SOC, -ODD_SOC, 5.0, 0.0),  # nor when hardly odd
        (-0.40, -0.41, 5.0, (0.40 / ORDINARY_DEPTH) ** 2),  # a slip does not happen twice
    ],
)
def test_room_for_a_cell_that_reads_apart(apart: float, last: float, seen: float, expected: float) -> None:
    """Limit: when more is allowed for, and how much."""
    found = room_for(np.array([[0.0, apart]]), np.array([[0.0, last]]), np.array([seen]))
    assert found[0] == pytest.approx([0.0, expected])


def test_a_cell_that_fails_suddenly_is_followed() -> None:
    """Limit: one cell loses a fifth between two runs: known and named from the third counted run on."""
    steps: dict[int, Sequence[float]] = {30: (0.98, 0.98, 0.784)}
    weak = driven(Driven(outings=45, noise_v=0.004, depths=(0.45, 0.7, 0.6, 0.7, 0.5), steps=steps)).history
    assert health(first(weak, 30)).weakest_cell is None
    for count in (33, 35, 40, 45):
        found = capacities(first(weak, count))
        assert found[2] / found[:2].mean() == pytest.approx(0.80, abs=0.02)
        assert health(first(weak, count)).weakest_cell == 3
        assert ratio(health(first(weak, count))).low <= 0.80 <= ratio(health(first(weak, count))).high


def test_old_readings_count_less() -> None:
    """Limit: a whole pack that loses capacity is known by its later runs, not by the mean of all it ever did."""
    steps: dict[int, Sequence[float]] = {number: (0.98 - 0.004 * number,) * 3 for number in range(80)}
    faded = driven(Driven(outings=80, noise_v=0.002, depths=(0.45, 0.62, 0.55), steps=steps)).history
    early, late = capacities(first(faded, 20)).mean(), capacities(faded).mean()
    true_early, true_late = 0.98 - 0.004 * 19, 0.98 - 0.004 * 79
    assert late < early
    # The mean over the whole life lies half way; what is said now lies nearer the end.
    assert late - true_late < 0.5 * (true_early - true_late)


@pytest.mark.parametrize("weak", [0, 1, 2])
def test_the_weakest_cell_is_named_on_evidence(weak: int) -> None:
    """Limit: not before anything was read, not where cells are alike, and by its number where one holds a tenth less."""
    capacity = [0.98, 0.98, 0.98]
    capacity[weak] = 0.88
    history = driven(Driven(outings=10, capacity=capacity, noise_v=0.004)).history
    assert health(replace(history, runs=(), charges=())).weakest_cell is None
    assert health(history).weakest_cell == weak + 1
    found = ratio(health(history))
    assert found.low <= 0.88 / 0.98 <= found.high
    assert found.high - found.low < 0.08
    assert health(first(ALIKE, 10)).weakest_cell is None


def test_totals_alone_name_no_cell() -> None:
    """Limit: a pack of which only the total was ever read says nothing of which cell is weak."""
    history = driven(Driven(outings=12, capacity=(0.98, 0.98, 0.85), noise_v=0.004)).history
    totals = tuple(replace(run, before_v=(sum(run.before_v),), after_v=(sum(run.after_v),)) for run in history.runs)
    found = health(replace(history, runs=totals))
    assert found.weakest_cell is None
    assert isinstance(found.weakest_ratio, NotEnough)
