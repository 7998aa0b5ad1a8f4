"""Keeping stored estimates current: which packs need estimating, and estimating them.

Estimates are a cache. Whoever changes a pack's history marks the pack stale in the same transaction; estimates that
are missing or of another model version are made at the next look, also when the program that owed them has died.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from tracker.domain.progress import Progress
from tracker.domain.results import AssessedRun, Finding
from tracker.estimators import MODEL
from tracker.estimators.assess import assess_packs
from tracker.estimators.history import PackHistory
from tracker.services.judging import judge_past, judge_runs
from tracker.store.database import Store
from tracker.store.garbage import collector_resting
from tracker.store.records import Records

RUNS_AT_ONCE = 5_000
"""Runs estimated in one transaction: many, for the estimator works on many packs at a time; not more, for others wait meanwhile."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Judged:
    """One pack's runs with estimates and findings, and what was found about the pack."""

    pack: str
    runs: tuple[AssessedRun, ...]
    findings: tuple[Finding, ...]


def refresh(store: Store, names: Sequence[str] | None = None, *, everything: bool = False, progress: Progress | None = None) -> None:
    """Estimate the packs that need it, of those named or of all; `everything` estimates them even if they do not."""
    with store.reading() as records:
        counts = records.run_counts()
        needing = tuple(counts) if everything else records.stale_packs(MODEL)
    wanted = needing if names is None else [name for name in names if name in set(needing)]
    total = sum(counts[name] for name in wanted)
    done = 0
    for batch in _batches(wanted, counts):
        with store.writing() as records:
            # Another program may have removed a pack or done the work since we looked.
            present = records.run_counts()
            current = set() if everything else set(present) - set(records.stale_packs(MODEL))
            assess_and_save(records, [name for name in batch if name in present and name not in current], done, total, progress)
        done += sum(counts[name] for name in batch)
        if progress is not None:
            progress("runs assessed", done, total)


def waiting_runs(store: Store) -> int:
    """Return how many runs belong to packs that need estimating."""
    with store.reading() as records:
        counts = records.run_counts()
        return sum(counts.get(name, 0) for name in records.stale_packs(MODEL))


def assess_and_save(
    records: Records, names: Sequence[str], done: int = 0, total: int | None = None, progress: Progress | None = None
) -> list[Judged]:
    """Estimate packs from all their history and store the estimates and findings."""
    if not names:
        return []
    told: Progress | None = None
    if progress is not None:
        listener = progress

        def told(_label: str, within: int, _of: int | None) -> None:
            listener("runs assessed", done + within, total)

    with collector_resting():
        found = assess(records, histories(records, names), told)
        for judged in found:
            records.save_estimates(judged.pack, [(each.run.started_at, each.estimate) for each in judged.runs])
            records.save_findings(judged.pack, judged.findings)
    return found


def assess(records: Records, past: Sequence[PackHistory], progress: Progress | None = None) -> list[Judged]:
    """Estimate and judge packs from the histories given; nothing is stored."""
    vehicles = {vehicle.name: vehicle for vehicle in records.vehicles()}
    controllers = {controller.name: controller for controller in records.controllers()}
    found = []
    for history, assessment in zip(past, assess_packs(past, vehicles, controllers, progress=progress), strict=True):
        runs = judge_runs(history, assessment.runs, vehicles, controllers)
        found.append(Judged(pack=history.pack.name, runs=runs, findings=judge_past(history, runs)))
    return found


def histories(records: Records, names: Sequence[str], *, limit_last: int | None = None) -> list[PackHistory]:
    """Return what was written down of each pack, or the last of it, in the order named."""
    packs = {pack.name: pack for pack in records.packs()} if len(names) > 1 else {name: records.pack(name) for name in names}
    runs = {pack: tuple(group) for pack, group in groupby(records.runs(names, limit_last=limit_last), key=lambda run: run.pack)}
    charges = {pack: tuple(group) for pack, group in groupby(records.charges(names, limit_last=limit_last), key=lambda charge: charge.pack)}
    return [PackHistory(pack=packs[name], runs=runs.get(name, ()), charges=charges.get(name, ())) for name in names]


def _batches(names: Sequence[str], counts: dict[str, int]) -> Iterator[list[str]]:
    batch: list[str] = []
    runs = 0
    for name in names:
        batch.append(name)
        runs += counts[name]
        if runs >= RUNS_AT_ONCE:
            yield batch
            batch, runs = [], 0
    if batch:
        yield batch
