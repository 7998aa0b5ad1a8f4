"""From histories to estimates with findings: the part of assessing that needs no database, here or in another process."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.progress import Progress
from tracker.domain.results import AssessedRun, Finding
from tracker.estimators.assess import assess_packs
from tracker.estimators.history import PackHistory
from tracker.services.judging import judge_past, judge_runs
from tracker.store.estimates import Written, written


@dataclass(frozen=True, kw_only=True, slots=True)
class Judged:
    """One pack's runs with estimates and findings, and what was found about the pack."""

    pack: str
    runs: tuple[AssessedRun, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Saved:
    """The same, as it is stored."""

    pack: str
    estimates: tuple[Written, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Job:
    """Everything that estimating some packs depends on."""

    past: tuple[PackHistory, ...]
    vehicles: Mapping[str, Vehicle]
    controllers: Mapping[str, Controller]


def estimate(job: Job, progress: Progress | None = None) -> list[Judged]:
    """Estimate and judge the packs of a job, in its order."""
    found = []
    assessments = assess_packs(job.past, job.vehicles, job.controllers, progress=progress)
    for history, assessment in zip(job.past, assessments, strict=True):
        runs = judge_runs(history, assessment.runs, job.vehicles, job.controllers)
        found.append(Judged(pack=history.pack.name, runs=runs, findings=judge_past(history, runs)))
    return found


def ready_to_save(judged: Judged) -> Saved:
    """Return what was found about a pack as it is stored."""
    estimates = tuple(written(each.run.started_at, each.estimate) for each in judged.runs)
    return Saved(pack=judged.pack, estimates=estimates, findings=judged.findings)


def runs_in(past: Sequence[PackHistory]) -> int:
    """Return how many runs these histories hold."""
    return sum(len(history.runs) for history in past)
