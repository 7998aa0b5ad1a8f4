"""Plans for several wanted risks come from one study, and from a new one as soon as anything it rests on has changed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tracker.domain.planning import CutoffTask
from tracker.estimators.cutoff import CutoffStudy, Setup, study_cutoffs
from tracker.services import Services, studies
from tracker.services.planning import Planning

TASK = CutoffTask(pack="Tug A", vehicle="Pond tug", risk=0.01)


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[CutoffTask]:
    """Every study made, while the real ones are made."""
    made: list[CutoffTask] = []

    def note(task: CutoffTask, setup: Setup) -> CutoffStudy:
        made.append(task)
        return study_cutoffs(task, setup)

    monkeypatch.setattr(studies, "study_cutoffs", note)
    return made


def test_another_risk_is_answered_from_the_same_study_and_as_a_fresh_plan_would(filled: Services, counted: list[CutoffTask]) -> None:
    filled.planning.cutoff(TASK)
    other = filled.planning.cutoff(replace(TASK, risk=0.2))
    assert len(counted) == 1
    assert other == Planning(filled._store).cutoff(replace(TASK, risk=0.2))
    assert len(counted) == 2
    assert other.task.risk == 0.2


def test_what_is_stored_anew_is_planned_anew(filled: Services, counted: list[CutoffTask]) -> None:
    before = filled.planning.cutoff(TASK)
    [left, _] = filled.controllers.all()
    filled.controllers.save(replace(left, load_share=0.4))
    filled.planning.cutoff(TASK)
    assert len(counted) == 2
    filled.packs.save(replace(filled.packs.get("Tug A"), capacity_ah=2.5))
    smaller = filled.planning.cutoff(TASK)
    assert len(counted) == 3
    assert smaller.curve[0].usable_ah < 0.8 * before.curve[0].usable_ah


def test_only_so_many_studies_are_kept(filled: Services, counted: list[CutoffTask], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(studies, "MOST", 1)
    for pack_k in (298.15, 288.15, 298.15):
        filled.planning.cutoff(replace(TASK, pack_k=pack_k))
    assert len(counted) == 3
