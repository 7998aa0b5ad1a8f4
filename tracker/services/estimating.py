"""From histories to estimates with findings: the part of assessing that needs no database, here or in another process."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.health import PackHealth
from tracker.domain.progress import Progress
from tracker.domain.results import AssessedRun, Finding, RunEstimate
from tracker.estimators.assess import View, assess_packs, is_deep
from tracker.estimators.history import PackHistory
from tracker.estimators.learned import Learned, pack_health
from tracker.estimators.memory import Memory
from tracker.estimators.memory import written as memory_text
from tracker.services.judging import judge_past, judge_runs
from tracker.store.estimates import Written, written
from tracker.store.health import text_of as health_text


@dataclass(frozen=True, kw_only=True, slots=True)
class Judged:
    """One pack's runs with estimates and findings, what was found about the pack, and what was learned of it."""

    pack: str
    runs: tuple[AssessedRun, ...]
    fresh: int
    """The first run estimated anew; those before it are as they were stored."""
    findings: tuple[Finding, ...]
    health: PackHealth
    learned: Learned


@dataclass(frozen=True, kw_only=True, slots=True)
class Saved:
    """The same, as it is stored."""

    pack: str
    estimates: tuple[Written, ...]
    findings: tuple[Finding, ...]
    memory: str
    health: str
    until: datetime | None
    """Start of the last run; None when there is none, and nothing was learned."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Known:
    """What is stored of a pack from the last time it was looked at."""

    memory: Memory
    estimates: Mapping[datetime, RunEstimate]
    """By start of the run."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Job:
    """Everything that estimating some packs depends on."""

    past: tuple[PackHistory, ...]
    vehicles: Mapping[str, Vehicle]
    controllers: Mapping[str, Controller]
    known: Mapping[str, Known] = field(default_factory=dict)


def estimate(job: Job, progress: Progress | None = None, view: View = "now") -> list[Judged]:
    """Estimate and judge the packs of a job, in its order."""
    found = []
    remembered = {pack: known.memory for pack, known in job.known.items()}
    assessments = assess_packs(job.past, job.vehicles, job.controllers, remembered=remembered, view=view, progress=progress)
    for history, assessment in zip(job.past, assessments, strict=True):
        judged = judge_runs(history, assessment.runs, job.vehicles, job.controllers)
        earlier = _earlier(history, len(history.runs) - len(judged), job.known.get(history.pack.name))
        if earlier is None:
            # Something that should be stored is not: everything is estimated from the beginning.
            alone = Job(past=(history,), vehicles=job.vehicles, controllers=job.controllers)
            found += estimate(alone, progress, view)
            continue
        runs = (*earlier, *judged)
        health = pack_health(assessment.learned, sum(is_deep(each) for each in runs))
        found.append(
            Judged(
                pack=history.pack.name,
                runs=runs,
                fresh=len(earlier),
                findings=judge_past(history, runs, health),
                health=health,
                learned=assessment.learned,
            )
        )
    return found


def ready_to_save(judged: Judged) -> Saved:
    """Return what was found about a pack as it is stored."""
    estimates = tuple(written(each.run.started_at, each.estimate) for each in judged.runs[judged.fresh :])
    until = judged.runs[-1].run.started_at if judged.runs else None
    return Saved(
        pack=judged.pack,
        estimates=estimates,
        findings=judged.findings,
        memory=memory_text(judged.learned.memory),
        health=health_text(judged.health),
        until=until,
    )


def _earlier(history: PackHistory, count: int, known: Known | None) -> list[AssessedRun] | None:
    """Return the first runs with their stored estimates; None when one is not stored."""
    found: list[AssessedRun] = []
    for run in history.runs[:count]:
        stored = None if known is None else known.estimates.get(run.started_at)
        if stored is None:
            return None
        found.append(AssessedRun(run=run, estimate=stored))
    return found
