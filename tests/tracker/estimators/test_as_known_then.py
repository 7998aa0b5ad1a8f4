"""As known then and as known now: what was written down later counts in one and not in the other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from tests.tracker.estimators import remembering as r
from tests.tracker.estimators.finite import faults
from tests.tracker.estimators.written_packs import Driven, driven
from tracker.domain.results import AssessedRun, Estimate
from tracker.estimators.assess import View, assess_packs
from tracker.estimators.history import PackHistory

HISTORY = driven(
    Driven(
        capacity=(0.98, 0.95), outings=30, resistance=(1.0, 1.2), shown_ohm=True, noise_v=0.005, rest_s=(600.0, 7200.0), pack_k=290.0,
        idle=(timedelta(hours=2), timedelta(days=8)), deviation=(1.0, -0.5, 0.5, 0.0, 0.0),
    )
).history  # fmt: skip
UNCOUNTED = replace(
    HISTORY, charges=tuple(replace(charge, put_back_ah=None) if at > 4 else charge for at, charge in enumerate(HISTORY.charges))
)
PLACE = 15
"""A run that is looked at; the charge after it and everything earlier stay as they are."""


def restless_with_a_bare_run() -> PackHistory:
    """A cell loses by standing, and the run looked at has no reading after it: its vehicle's usual draw has to do."""
    history = driven(
        Driven(capacity=(0.98, 0.95), outings=30, noise_v=0.005, excess_loss=(0.0, 0.15), idle=(timedelta(hours=2), timedelta(days=9)))
    ).history  # fmt: skip
    charges = tuple(replace(charge, put_back_ah=None) if at > 4 else charge for at, charge in enumerate(history.charges))
    return r.changed_run(replace(history, charges=charges), PLACE, after_v=())


def runs(history: PackHistory, view: View) -> tuple[AssessedRun, ...]:
    return assess_packs([history], {}, {}, view=view)[0].runs


def until(history: PackHistory, place: int) -> PackHistory:
    """The history as it stood when the next run began: the run at a place is the last."""
    later = history.runs[place + 1].started_at if place + 1 < len(history.runs) else None
    charges = tuple(charge for charge in history.charges if later is None or charge.finished_at <= later)
    return replace(history, runs=history.runs[: place + 1], charges=charges)


LATER: list[Callable[[PackHistory], PackHistory]] = [
    lambda history: until(history, PLACE),
    lambda history: r.without_run(history, PLACE + 1),
    lambda history: r.changed_run(history, PLACE + 1, after_v=(3.5, 3.3), loaded_v=(2.9, 2.2)),
    lambda history: r.changed_charge(history, PLACE + 2, put_back_ah=1.0, cell_ohm=(0.02, 0.03)),
    lambda history: r.without_charge(history, PLACE + 2),
]
VIEWS: tuple[View, View] = ("then", "now")
NAMES = ["all removed", "run removed", "run changed", "charge changed", "charge removed"]


@pytest.mark.parametrize("history", [HISTORY, UNCOUNTED, restless_with_a_bare_run()], ids=["counted", "counted four times", "restless"])
def test_what_comes_later_changes_nothing_then_and_something_now(history: PackHistory) -> None:
    """Limit: to the last digit for every run up to the place; as known now the same rows do matter."""
    later = [change(history) for change in LATER]
    earlier = r.changed_run(history, PLACE - 3, after_v=(3.4, 3.5))
    assert history not in later
    # All at once, which takes far less time than one after the other and is the same to the last digit.
    all_then, all_now = (assess_packs([history, earlier, *later], {}, {}, view=view) for view in VIEWS)
    then, now = all_then[0].runs, all_now[0].runs
    for name, changed_then, changed_now in zip(NAMES, all_then[2:], all_now[2:], strict=True):
        assert changed_then.runs[: PLACE + 1] == then[: PLACE + 1], name
        assert changed_now.runs[PLACE] != now[PLACE], name
    # So that equal answers above are not those of a view that looks at nothing.
    assert all_then[1].runs[PLACE] != then[PLACE]


def test_then_is_now_of_a_history_cut_after_the_run() -> None:
    """Limit: with nothing later there is no hindsight; alike but for the rounding of two ways to the same answer."""
    history = driven(Driven(capacity=(0.98, 0.95), outings=30, noise_v=0.005, rest_s=(600.0, 7200.0), resistance=(1.0, 1.3))).history
    places = (0, 3, 11, 12, 23, 29)
    cut = assess_packs([until(history, place) for place in places], {}, {}, view="now")
    known_then = runs(history, "then")
    for place, known_now in zip(places, cut, strict=True):
        then, now = known_then[place].estimate, known_now.runs[-1].estimate
        assert isinstance(then.used_ah, Estimate)
        assert isinstance(now.used_ah, Estimate)
        assert then.used_ah.value == pytest.approx(now.used_ah.value, rel=1e-9)
        assert then.used_ah.sd == pytest.approx(now.used_ah.sd, rel=1e-9)
        assert [cell.grade for cell in then.cells] == [cell.grade for cell in now.cells]
        for one, other in zip(then.cells, now.cells, strict=True):
            assert isinstance(one.soc_after, Estimate)
            assert isinstance(other.soc_after, Estimate)
            assert one.soc_after.value == pytest.approx(other.soc_after.value, abs=1e-9)


def test_hindsight_makes_early_runs_surer_and_truer() -> None:
    """Limit: the first runs of a pack whose curve is its own, counted only later, are known better once its curve is."""
    uncounted_at_first = driven(Driven(outings=24, deviation=(1.2, 1.0, -0.8, 0.0, 0.0), noise_v=0.003))
    history = uncounted_at_first.history
    charges = tuple(replace(charge, put_back_ah=None) if at <= 6 else charge for at, charge in enumerate(history.charges))
    then, now = (runs(replace(history, charges=charges), view)[:6] for view in ("then", "now"))
    sure, errors = [], []
    for early, late, used_ah in zip(then, now, uncounted_at_first.used_ah, strict=False):
        one, other = early.estimate.used_ah, late.estimate.used_ah
        assert isinstance(one, Estimate)
        assert isinstance(other, Estimate)
        sure.append(other.sd / one.sd)
        errors.append((abs(one.value - used_ah), abs(other.value - used_ah)))
    assert max(sure) < 0.6
    assert sum(late for _, late in errors) < 0.5 * sum(early for early, _ in errors)


def test_both_views_are_made_of_numbers() -> None:
    """Breaking: no number that is none in either view of a history with gaps."""
    for view in ("then", "now"):
        assert list(faults(runs(UNCOUNTED, view))) == []
