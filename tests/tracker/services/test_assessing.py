"""Estimating in further processes: the same answers, also when somebody writes meanwhile or no process can be had."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator

import pytest

from tests.tracker.services.test_sessions import CHARGE, RUN
from tracker.services import Services, assessing, workers
from tracker.services.estimating import Job, Saved


@pytest.fixture
def in_parallel(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take any number of runs for very many, one pack a job."""
    monkeypatch.setattr(assessing, "MANY_RUNS", 1)
    monkeypatch.setattr(assessing, "RUNS_AT_ONCE", 1)
    monkeypatch.setattr(assessing, "RUNS_TO_A_JOB", 1)
    for module in (assessing, workers):
        monkeypatch.setattr(module, "worker_count", lambda: 2)


def jobs_seen(monkeypatch: pytest.MonkeyPatch, meanwhile: Iterable[object] = ()) -> list[bool]:
    """Note of every job whether processes answered it; advance `meanwhile` by one before each answer is saved."""
    answered: list[bool] = []
    steps = iter(meanwhile)

    def watched(jobs: Iterable[Job]) -> Iterator[tuple[Job, list[Saved] | None]]:
        for job, found in workers.estimate_all(jobs):
            next(steps, None)
            answered.append(found is not None)
            yield job, found

    monkeypatch.setattr(assessing, "estimate_all", watched)
    return answered


@pytest.mark.usefixtures("in_parallel")
def test_processes_give_the_same_estimates(filled: Services, monkeypatch: pytest.MonkeyPatch) -> None:
    answered = jobs_seen(monkeypatch)
    told: list[tuple[int, int | None]] = []
    in_processes = filled.runs.assess(progress=lambda _label, done, total: told.append((done, total)))
    assert answered == [True, True, True]
    assert told[-1] == (4, 4)
    monkeypatch.undo()
    assert filled.runs.assess(everything=True) == in_processes


@pytest.mark.usefixtures("in_parallel")
def test_what_is_written_meanwhile_is_not_lost(filled: Services, monkeypatch: pytest.MonkeyPatch) -> None:
    def meanwhile() -> Iterator[object]:
        yield filled.charges.log(dataclasses.replace(CHARGE, pack="Tug B"))
        yield filled.runs.log(RUN)
        filled.runs.remove("Tug B", filled.runs.assess("Tug B")[0].run.started_at)
        yield None

    answered = jobs_seen(monkeypatch, meanwhile())
    filled.runs.refresh()
    assert answered == [True, True, True]
    assert filled.runs.waiting() == 0
    monkeypatch.undo()
    current = filled.runs.assess()
    assert [each.run.pack for each in current] == ["Groomer", "Tug A", "Tug A", "Tug A"]
    assert filled.runs.assess(everything=True) == current


@pytest.mark.usefixtures("in_parallel")
def test_without_processes_the_work_is_done_here(filled: Services, monkeypatch: pytest.MonkeyPatch) -> None:
    answered = jobs_seen(monkeypatch)
    monkeypatch.setattr(workers, "_submit", lambda _pool, _job: None)
    assert len(filled.runs.assess()) == 4
    assert answered == [False, False, False]
