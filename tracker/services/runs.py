"""Runs: writing them down and what they took."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from tracker.domain.progress import Progress
from tracker.domain.results import AssessedRun, RunEstimate
from tracker.domain.session import Run
from tracker.errors import ConflictError, FieldErrors, NotFoundError
from tracker.estimators import MODEL
from tracker.intake.checks import against_series
from tracker.services.assessing import assess, assess_and_save, histories, refresh, waiting_runs
from tracker.services.checks import time_problems, unknown
from tracker.store.database import Store
from tracker.store.records import Records


class Runs:
    """Runs and their estimates."""

    model = MODEL
    """Version of the method the estimates come from."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def log(self, run: Run, *, replace: bool = False) -> RunEstimate:
        """Store a run, estimate its pack's history anew and return the run's estimate."""
        with self._store.writing() as records:
            _check(records, run)
            stored = records.run(run.pack, run.started_at)
            if stored is None:
                records.add_runs([run])
            elif replace:
                records.replace_run(run)
            elif stored != run:
                raise ConflictError(
                    f"another run of '{run.pack}' that started at {run.started_at.astimezone():%Y-%m-%d %H:%M:%S} is stored already; "
                    "give the time this one started, or ask for the stored one to be replaced (--replace)."
                )
            [assessment] = assess_and_save(records, [run.pack])
        return next(each.estimate for each in assessment.runs if each.run.started_at == run.started_at)

    def preview(self, run: Run) -> RunEstimate:
        """Return what a run would be estimated to have taken; nothing is stored."""
        with self._store.reading() as records:
            _check(records, run)
            [history] = histories(records, [run.pack])
            others = [each for each in history.runs if each.started_at != run.started_at]
            [assessment] = assess(records, [replace(history, runs=tuple(sorted([*others, run], key=lambda each: each.started_at)))])
        return next(each.estimate for each in assessment.runs if each.run.started_at == run.started_at)

    def assess(self, pack: str | None = None, everything: bool = False, progress: Progress | None = None) -> tuple[AssessedRun, ...]:
        """Return what each run took, by pack and time, of one pack or of all; what is not current is estimated first."""
        names = None if pack is None else [pack]
        if pack is not None:
            with self._store.reading() as records:
                records.pack(pack)
        refresh(self._store, names, everything=everything, progress=progress)
        with self._store.reading() as records:
            estimates = records.estimates(names, MODEL)
            # A run written down by another program just now has no estimate yet; it will at the next look.
            runs = [run for run in records.runs(names) if (run.pack, run.started_at) in estimates]
        return tuple(AssessedRun(run=run, estimate=estimates[run.pack, run.started_at]) for run in runs)

    def assess_as_then(self, pack: str | None = None, progress: Progress | None = None) -> tuple[AssessedRun, ...]:
        """Return what each run took as it could be known at the time: from what came before it, itself and the charge after it."""
        with self._store.reading() as records:
            names = [each.name for each in records.packs()] if pack is None else [records.pack(pack).name]
            found = assess(records, histories(records, names), progress, view="then")
        return tuple(each for judged in found for each in judged.runs)

    def refresh(self, progress: Progress | None = None, *, everything: bool = False) -> None:
        """Estimate what needs estimating, or everything anew."""
        refresh(self._store, everything=everything, progress=progress)

    def waiting(self) -> int:
        """Return how many runs need estimating."""
        return waiting_runs(self._store)

    def remove(self, pack: str, started_at: datetime) -> None:
        """Remove a run; NotFoundError when it is not stored."""
        with self._store.writing() as records:
            records.remove_run(pack, started_at)
            records.mark_stale(pack)
            records.save_findings(pack, ())


def _check(records: Records, run: Run) -> None:
    """Refuse a run whose pack or vehicle is not stored, or whose readings do not fit the pack."""
    names = [pack.name for pack in records.packs()]
    if run.pack not in names:
        raise NotFoundError(unknown("pack", run.pack, names, "look at the spelling, or bring in a packs file that describes it."))
    problems = dict([*against_series(run, records.pack(run.pack).series), *time_problems(run, datetime.now(UTC))])
    vehicles = [vehicle.name for vehicle in records.vehicles()]
    if run.vehicle is not None and run.vehicle not in vehicles:
        what_to_do = "look at the spelling, or store it first (--new-vehicle, or a vehicles file)"
        problems["vehicle"] = unknown("vehicle", run.vehicle, vehicles, what_to_do)
    if problems:
        raise FieldErrors(problems)
