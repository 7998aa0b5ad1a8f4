"""Plans for several wanted risks come from one study, and from a new one as soon as anything it rests on has changed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tracker.domain.planning import CutoffTask
from tracker.estimators.cutoff_scenes import Setup
from tracker.services import Services, studies
from tracker.services.planning import Planning

TASK = CutoffTask(pack="Tug A", vehicle="Pond tug", risk=0.01)


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[Setup]:
    """Every study made, while the real ones are made."""
    return noted(monkeypatch, "study_cutoffs")


def noted(monkeypatch: pytest.MonkeyPatch, what: str) -> list[Setup]:
    """What a function of the studies is called with first, while it goes on doing its work."""
    made: list[Setup] = []
    real = getattr(studies, what)

    def note(setup: Setup, *rest: object) -> object:
        made.append(setup)
        return real(setup, *rest)

    monkeypatch.setattr(studies, what, note)
    return made


def test_another_risk_is_answered_from_the_same_study_and_as_a_fresh_plan_would(filled: Services, counted: list[Setup]) -> None:
    filled.planning.cutoff(TASK)
    other = filled.planning.cutoff(replace(TASK, risk=0.2))
    assert len(counted) == 1
    assert other == Planning(filled._store).cutoff(replace(TASK, risk=0.2))
    assert len(counted) == 2
    assert other.task.risk == 0.2


def test_what_is_stored_anew_is_planned_anew(filled: Services, counted: list[Setup]) -> None:
    before = filled.planning.cutoff(TASK)
    [left, _] = filled.controllers.all()
    filled.controllers.save(replace(left, load_share=0.4))
    filled.planning.cutoff(TASK)
    assert len(counted) == 2
    filled.packs.save(replace(filled.packs.get("Tug A"), capacity_ah=2.5))
    smaller = filled.planning.cutoff(TASK)
    assert len(counted) == 3
    assert smaller.curve[0].usable_ah < 0.8 * before.curve[0].usable_ah


def test_only_so_many_studies_are_kept(filled: Services, counted: list[Setup], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(studies, "MOST", 1)
    for pack_k in (298.15, 288.15, 298.15):
        filled.planning.cutoff(replace(TASK, pack_k=pack_k))
    assert len(counted) == 3


def test_another_temperature_and_another_load_are_asked_of_the_same_versions(filled: Services, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = noted(monkeypatch, "versions_of")
    for other in (TASK, replace(TASK, pack_k=278.15), replace(TASK, mean_a=5.0)):
        assert filled.planning.cutoff(other) == Planning(filled._store).cutoff(other)
    assert len(drawn) == 1 + 3
    filled.packs.save(replace(filled.packs.get("Tug A"), capacity_ah=2.5))
    filled.planning.cutoff(TASK)
    assert len(drawn) == 1 + 3 + 1


def test_what_is_there_at_once_is_what_the_whole_plan_says(filled: Services) -> None:
    first = filled.planning.cutoff_at_once(TASK)
    whole = filled.planning.cutoff(TASK)
    assert (first.whole, first.together) == (False, None)
    assert whole.whole
    assert whole.together is not None
    assert set(first.findings) <= set(whole.findings)
    assert replace(first, whole=True, together=whole.together, findings=whole.findings) == whole
    assert filled.planning.cutoff_at_once(replace(TASK, risk=0.05)).whole


def test_of_a_model_without_controllers_nothing_is_missing_at_once(filled: Services) -> None:
    filled.controllers.save(replace(filled.controllers.vehicles()[0], controllers=()))
    assert filled.planning.cutoff_at_once(TASK) == filled.planning.cutoff(TASK)
