"""What the pages ask of the services: anything with these methods can stand behind the dashboard."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Protocol

from tracker.domain.bench import BenchResult
from tracker.domain.changes import Change, Key, Kind, Record
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.divider import DividerPlan, DividerTask
from tracker.domain.exchange import Contents, DatabaseFacts
from tracker.domain.health import PackLearning
from tracker.domain.label import PackLabel
from tracker.domain.pack import Pack
from tracker.domain.planning import CutoffPlan, CutoffTask
from tracker.domain.progress import Progress
from tracker.domain.results import AssessedRun, Finding, ImportReport, PackRecord, PackState, RunEstimate
from tracker.domain.season import SeasonRun
from tracker.domain.session import BenchTest, Charge, Run
from tracker.domain.trace import Trace, TraceNote, TracePreview, TraceReading


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
    """Runs and their estimates."""

    def preview(self, run: Run) -> RunEstimate:
        """What a run would be estimated to have taken, nothing stored; FieldErrors or NotFoundError when it cannot be one."""

    def one(self, pack: str, started_at: datetime) -> AssessedRun:
        """A stored run with its estimate; NotFoundError when there is none."""

    def waiting(self) -> int:
        """How many runs need estimating."""

    def refresh(self, progress: Progress | None = None, *, everything: bool = False) -> None:
        """Estimate what needs estimating, or everything anew."""


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

    def cutoff_at_once(self, task: CutoffTask) -> CutoffPlan:
        """As `cutoff`, but where it takes long without what the controllers do together: then the plan is not `whole`."""

    def divider(self, task: DividerTask) -> DividerPlan:
        """The resistor that moves a trip point; InputError where none does."""


class EditService(Protocol):
    """Changing the logbook, and taking a change back."""

    def save(self, record: Record, *, replacing: Key | None = None, change_id: str | None = None) -> Change:
        """Store a new record, or change the one of the key given, its name or time too; FieldErrors, NotFoundError or ConflictError."""

    def remove(self, kind: Kind, key: Key, *, change_id: str | None = None) -> Change:
        """Remove a record and all that hangs on it; NotFoundError, or ConflictError while others name it."""

    def recent(self, limit: int = 20) -> Sequence[Change]:
        """The last changes, newest first."""

    def undo(self, change_id: str) -> Change:
        """Put back what was before a change; ConflictError when it was changed again since."""

    def done(self, change_id: str) -> Change | None:
        """The change of that id, if it was done."""


class ExchangeService(Protocol):
    """Data in and out."""

    def import_files(
        self,
        paths: Sequence[Path],
        *,
        update: bool = False,
        dry_run: bool = False,
        names: Mapping[Path, str] | None = None,
        progress: Progress | None = None,
    ) -> ImportReport:
        """Store what files bring, all or none; ImportRefusedError names every bad row. A dry run tells what would be."""

    def kind(self, file: Path) -> str | None:
        """Which kind of file this is by its header, or None; of a `recording` a person has to say to which run it belongs."""

    def table_head(self, file: Path) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
        """Headers and first rows of a table of numbers whose columns a person may name."""

    def export(self, folder: Path) -> Sequence[Path]:
        """Write everything into CSV files."""

    def backup(self, file: Path, progress: Progress | None = None) -> Path:
        """Write a checked copy of everything."""

    def examine(self, file: Path) -> Contents:
        """What a backup holds, after checking it; StoreError when it is none or is damaged."""

    def replace_all(self, file: Path, progress: Progress | None = None) -> Path:
        """Put a backup in place of everything; where a copy of what was stored is kept."""


class TraceService(Protocol):
    """Recordings of runs."""

    def look(self, file: Path, reading: TraceReading | None = None) -> TracePreview:
        """What is found out about a logger's file; ImportRefusedError or FieldErrors when it cannot be read so."""

    def keep(
        self,
        file: Path,
        *,
        pack: str | None = None,
        started_at: datetime | None = None,
        vehicle: str | None = None,
        reading: TraceReading | None = None,
        replace: bool = False,
        file_name: str | None = None,
    ) -> TraceNote:
        """Store a recording with the run of that pack and time, which is made when there is none."""

    def thinned(
        self, pack: str, started_at: datetime, low_s: float | None = None, high_s: float | None = None, points: int = 2000
    ) -> Trace:
        """The recording of a run, or a part of it, in so many readings at most; NotFoundError when there is none."""

    def all(self) -> Sequence[TraceNote]:
        """Which runs have a recording."""

    def remove(self, pack: str, started_at: datetime) -> None:
        """Remove the recording of a run, which itself stays."""


class DatabaseService(Protocol):
    """The database in use."""

    def facts(self) -> DatabaseFacts:
        """Everything there is to say about it."""


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
    def exchange(self) -> ExchangeService:
        """Data in and out."""

    @property
    def traces(self) -> TraceService:
        """Recordings of runs."""

    @property
    def database(self) -> DatabaseService:
        """The database in use."""

    @property
    def edits(self) -> EditService:
        """Changes, and taking them back."""

    @property
    def planning(self) -> PlanningService:
        """Plans for cutoffs and trip points."""
