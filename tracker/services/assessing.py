"""Keeping stored estimates current: which packs need estimating, and estimating them.

Estimates are a cache. Whoever changes a pack's history marks the pack stale in the same transaction; estimates that
are missing or of another model version are made at the next look, also when the program that owed them has died.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import groupby

from tracker.domain.progress import Progress
from tracker.domain.results import RunEstimate
from tracker.estimators import MODEL
from tracker.estimators.assess import View
from tracker.estimators.history import PackHistory
from tracker.estimators.memory import read_if_sound
from tracker.services.estimating import Job, Judged, Known, Saved, estimate, ready_to_save
from tracker.services.recorded import recorded
from tracker.services.workers import estimate_all, worker_count
from tracker.store.database import Store
from tracker.store.garbage import collector_resting
from tracker.store.records import Records
from tracker.store.results import StoredKnowledge

RUNS_AT_ONCE = 5_000
"""Runs saved in one go: not more, for others wait meanwhile."""
RUNS_TO_A_JOB = 12_500
"""Runs estimated in one go where nobody waits: many, for packs are learned outing by outing, many packs at a time."""
MANY_RUNS = 20_000
"""From here on, starting further processes takes less time than it saves."""
LABEL = "runs assessed"
FEW_PACKS = 20
"""Of more packs than this what was learned is not taken up: they are learned anew, many at a time."""


def refresh(store: Store, names: Sequence[str] | None = None, *, everything: bool = False, progress: Progress | None = None) -> None:
    """Estimate the packs that need it, of those named or of all; `everything` estimates them even if they do not."""
    with store.reading() as records:
        counts, needing = store.kept.read(records, "needing", lambda: (records.run_counts(), _needing(records)))
    if everything:
        needing = tuple(counts)
    wanted = needing if names is None else [name for name in names if name in set(needing)]
    told = _Told(progress, sum(counts[name] for name in wanted))
    if told.total >= MANY_RUNS and worker_count() > 1:
        wanted = _refresh_in_parallel(store, list(_batches(wanted, counts, RUNS_TO_A_JOB)), told)
    for batch in _batches(wanted, counts, RUNS_AT_ONCE):
        with store.writing() as records:
            # Another program may have removed a pack or done the work since we looked.
            present = records.run_counts()
            current = set() if everything else set(present) - set(_needing(records))
            wanted = [name for name in batch if name in present and name not in current]
            assess_and_save(records, wanted, told.within, anew=everything)
        told.add(sum(counts[name] for name in batch))


def waiting_runs(store: Store) -> int:
    """Return how many runs belong to packs that need estimating."""
    with store.reading() as records:
        counts = records.run_counts()
        return sum(counts.get(name, 0) for name in _needing(records))


def assess_and_save(records: Records, names: Sequence[str], progress: Progress | None = None, *, anew: bool = False) -> list[Judged]:
    """Estimate packs and store estimates, findings and what was learned; `anew` from the beginning, whatever is stored."""
    if not names:
        return []
    with collector_resting():
        found = assess(records, histories(records, names), progress, anew=anew)
        _save(records, [ready_to_save(judged) for judged in found])
    return found


def assess(
    records: Records, past: Sequence[PackHistory], progress: Progress | None = None, *, anew: bool = False, view: View = "now"
) -> list[Judged]:
    """Estimate and judge packs from the histories given, taking up what was learned of them unless `anew`; nothing is stored."""
    if not past:
        return []
    job = _job(records, past)
    known = {} if anew or view == "then" else _known(records, [history.pack.name for history in past])
    return estimate(replace(job, known=known), progress, view)


def histories(records: Records, names: Sequence[str], *, limit_last: int | None = None) -> list[PackHistory]:
    """Return what was written down of each pack, or the last of it, in the order named."""
    packs = {pack.name: pack for pack in records.packs()} if len(names) > 1 else {name: records.pack(name) for name in names}
    series = {name: pack.series for name, pack in packs.items()}
    written = recorded(records, records.runs(names, limit_last=limit_last), series)
    runs = {pack: tuple(group) for pack, group in groupby(written, key=lambda run: run.pack)}
    charges = {pack: tuple(group) for pack, group in groupby(records.charges(names, limit_last=limit_last), key=lambda charge: charge.pack)}
    return [PackHistory(pack=packs[name], runs=runs.get(name, ()), charges=charges.get(name, ())) for name in names]


def _known(records: Records, names: Sequence[str]) -> dict[str, Known]:
    """Return what is stored of packs that were learned by this version of the method; of very many at once it is not worth reading."""
    if len(names) > FEW_PACKS:
        return {}
    stored = records.knowledge(names, MODEL)
    estimates: dict[str, dict[datetime, RunEstimate]] = {name: {} for name in stored}
    for (name, started_at), found in records.estimates(list(stored), MODEL).items() if stored else ():
        estimates[name][started_at] = found
    memories = {name: read_if_sound(kept.payload) for name, kept in stored.items()}
    return {name: Known(memory=memory, estimates=estimates[name]) for name, memory in memories.items() if memory is not None}


def _needing(records: Records) -> tuple[str, ...]:
    """Return packs with runs that were not estimated by this version of the method, or of which it has learned nothing."""
    return tuple(sorted({*records.stale_packs(MODEL), *records.unlearned_packs(MODEL)}))


class _Told:
    """Keeps count over several batches for whoever wants to know how far the work is."""

    def __init__(self, progress: Progress | None, total: int) -> None:
        self.total = total
        self._done = 0
        self._progress = progress

    def add(self, runs: int) -> None:
        self._done += runs
        self.within(LABEL, 0, None)

    def within(self, _label: str, done: int, _total: int | None) -> None:
        if self._progress is not None:
            self._progress(LABEL, self._done + done, self.total)


def _refresh_in_parallel(store: Store, batches: Sequence[list[str]], told: _Told) -> list[str]:
    """Estimate outside any transaction, save what nobody changed meanwhile, and return the packs still to do."""
    left: list[str] = []
    for job, found in estimate_all(_read_job(store, batch) for batch in batches):
        ready = {} if found is None else {saved.pack: saved for saved in found}
        counts = {history.pack.name: len(history.runs) for history in job.past}
        for part in _batches(list(counts), counts, RUNS_AT_ONCE):
            some = replace(job, past=tuple(history for history in job.past if history.pack.name in set(part)))
            with store.writing() as records, collector_resting():
                unchanged = _unchanged(records, some) if ready else set()
                _save(records, [ready[name] for name in part if name in unchanged])
            left += [name for name in part if name not in unchanged]
            told.add(sum(counts[name] for name in part if name in unchanged))
    return left


def _read_job(store: Store, names: Sequence[str]) -> Job:
    with store.reading() as records, collector_resting():
        return _job(records, histories(records, _present(records, names)))


def _job(records: Records, past: Sequence[PackHistory]) -> Job:
    vehicles = {vehicle.name: vehicle for vehicle in records.vehicles()}
    controllers = {controller.name: controller for controller in records.controllers()}
    return Job(past=tuple(past), vehicles=vehicles, controllers=controllers)


def _unchanged(records: Records, job: Job) -> set[str]:
    """Return the packs for which everything still stands as when the job was made."""
    names = _present(records, [history.pack.name for history in job.past])
    now = _job(records, histories(records, names))
    if (now.vehicles, now.controllers) != (job.vehicles, job.controllers):
        return set()
    before = {history.pack.name: history for history in job.past}
    return {history.pack.name for history in now.past if history == before[history.pack.name]}


def _present(records: Records, names: Sequence[str]) -> list[str]:
    present = records.run_counts()
    return [name for name in names if name in present]


def _save(records: Records, found: Sequence[Saved]) -> None:
    for saved in found:
        records.save_written(saved.pack, saved.estimates)
        records.save_findings(saved.pack, saved.findings)
        if saved.until is not None:
            knowledge = StoredKnowledge(model=MODEL, as_of=saved.until, payload=saved.memory, health=saved.health)
            records.save_knowledge(saved.pack, knowledge)


def _batches(names: Sequence[str], counts: Mapping[str, int], at_once: int) -> Iterator[list[str]]:
    batch: list[str] = []
    runs = 0
    for name in names:
        batch.append(name)
        runs += counts[name]
        if runs >= at_once:
            yield batch
            batch, runs = [], 0
    if batch:
        yield batch
