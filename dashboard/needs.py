"""What the pages ask of the services: anything with these methods can stand behind the dashboard."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol

from tracker.domain.bench import BenchResult
from tracker.domain.changes import Change, Key, Kind, Record
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.divider import DividerPlan, DividerTask
from tracker.domain.health import PackLearning
from tracker.domain.label import PackLabel
from tracker.domain.pack import Pack
from tracker.domain.planning import CutoffPlan, CutoffTask
from tracker.domain.results import AssessedRun, Finding, PackRecord, PackState, RunEstimate
from tracker.domain.season import SeasonRun
from tracker.domain.session import BenchTest, Charge, Run


class PackService(Protocol):
    """Packs, how they stand and what was found about them."""

    def all(self, include_retired: bool = False) -> Sequence[Pack]:
        """Every pack as its owner described it."""

    def labels(self) -> Sequence[PackLabel]:
        """What stands on the label of each pack, of the retired ones too."""

    def states(self, now: datetime | None = None) -> Sequence[PackState]:
        """Every pack in use as it stands now."""

    def overview(self, now: datetime | None = None) -> tuple[Sequence[PackState], Sequence[Finding]]:
        """Every pack in use as it stands now, and what a person should know, most urgent first."""

    def record(self, name: str) -> PackRecord:
        """Everything about one pack; NotFoundError when there is none of that name."""

    def season(self, since: datetime, pack: str | None = None) -> Sequence[SeasonRun]:
        """Every run since then, of all packs or of one, in time order."""

    def learning(self, name: str) -> PackLearning:
        """What the pack's history teaches, as known now; NotFoundError when there is none of that name."""


class RunService(Protocol):
    """Runs, one at a time."""

    def preview(self, run: Run) -> RunEstimate:
        """What a run would be estimated to have taken, nothing stored; FieldErrors or NotFoundError when it cannot be one."""

    def one(self, pack: str, started_at: datetime) -> AssessedRun:
        """A stored run with its estimate; NotFoundError when there is none."""


class ChargeService(Protocol):
    """Charges, one at a time."""

    def preview(self, charge: Charge) -> Sequence[Finding]:
        """What would come to light with a charge, nothing stored; FieldErrors or NotFoundError when it cannot be one."""

    def one(self, pack: str, finished_at: datetime) -> Charge:
        """A stored charge; NotFoundError when there is none."""


class ControllerService(Protocol):
    """Controllers, the models that carry them, and their bench tests."""

    def all(self) -> Sequence[Controller]:
        """Every controller, by name."""

    def vehicles(self) -> Sequence[Vehicle]:
        """Every model, by name."""

    def bench(self) -> Sequence[BenchResult]:
        """What the stored bench tests show, of every controller that has any."""

    def tests(self, name: str) -> Sequence[BenchTest]:
        """Every bench test of one controller, in time order; NotFoundError when it is not stored."""

    def preview_bench(self, test: BenchTest) -> BenchResult:
        """What a bench test shows by itself, stored or not; FieldErrors when it cannot be one."""

    def log_bench(self, test: BenchTest) -> BenchResult:
        """Store a bench test; FieldErrors, NotFoundError or ConflictError when it cannot be."""


class PlanningService(Protocol):
    """Plans: what to set, and what to solder."""

    def warm_up(self) -> None:
        """Read in once what every plan is made with."""

    def cutoff(self, task: CutoffTask) -> CutoffPlan:
        """Where the controllers of a model should let go on a pack; NotFoundError or InputError when it cannot be told."""

    def divider(self, task: DividerTask) -> DividerPlan:
        """The resistor that moves a trip point; InputError where none does."""


class EditService(Protocol):
    """Changing the logbook, and taking a change back."""

    def save(self, record: Record, *, replacing: Key | None = None, change_id: str | None = None) -> Change:
        """Store a new record, or change the one of the key given, its name or time too; FieldErrors, NotFoundError or ConflictError."""

    def remove(self, kind: Kind, key: Key, *, change_id: str | None = None) -> Change:
        """Remove a record and all that hangs on it; NotFoundError, or ConflictError while others name it."""

    def undo(self, change_id: str) -> Change:
        """Put back what was before a change; ConflictError when it was changed again since."""

    def done(self, change_id: str) -> Change | None:
        """The change of that id, if it was done."""


class Services(Protocol):
    """The way from the pages to everything else."""

    @property
    def packs(self) -> PackService:
        """Packs, their states and findings."""

    @property
    def runs(self) -> RunService:
        """Runs."""

    @property
    def charges(self) -> ChargeService:
        """Charges."""

    @property
    def controllers(self) -> ControllerService:
        """Controllers, models and bench tests."""

    @property
    def edits(self) -> EditService:
        """Changes, and taking them back."""

    @property
    def planning(self) -> PlanningService:
        """Plans for cutoffs and trip points."""
