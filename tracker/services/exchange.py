"""Data in and out: files, backups, and the invented club's logbook."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from importlib import resources
from pathlib import Path

from tracker.domain.exchange import Contents
from tracker.domain.progress import Progress
from tracker.domain.results import ImportReport
from tracker.intake.logbook import kind_of_file, read_files
from tracker.intake.table_head import table_head
from tracker.intake.write import left_over, write_folder
from tracker.services.importing import Import
from tracker.services.importing_traces import import_traces, names_its_run
from tracker.store import copying
from tracker.store.database import Store


class _NothingStoredError(Exception):
    """Undoes a transaction that was only a trial."""


class Exchange:
    """Imports, exports, backups."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def import_files(
        self,
        paths: Sequence[Path],
        *,
        update: bool = False,
        dry_run: bool = False,
        names: Mapping[Path, str] | None = None,
        progress: Progress | None = None,
    ) -> ImportReport:
        """Store what files or folders of files bring: all of it or, with ImportRefusedError naming every bad row, none.

        What the import makes out of date is marked so; estimates are made by `runs.refresh` or at the next look.
        A dry run does everything and then undoes it, so that it reports exactly what the import would. `names` says what a person
        calls a file where that is not its path.
        """
        intake = read_files(paths, progress, names=names)
        report = ImportReport(dry_run=dry_run)
        try:
            with self._store.writing() as records:
                report = Import(records, intake, update=update, progress=progress).run(dry_run=dry_run)
                report = import_traces(records, intake.traces, report, update=update, names=names, progress=progress)
                if dry_run:
                    raise _NothingStoredError
        except _NothingStoredError:
            return report
        return report

    def kind(self, file: Path) -> str | None:
        """Return which kind of file this is by its header, or None when it is none of them.

        `recordings` names the run it is of and is brought in with the others; of a `recording` a person has to say so.
        """
        found = kind_of_file(file)
        return "recordings" if found == "recording" and names_its_run(file) else found

    def table_head(self, file: Path) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
        """Return headers and first rows of a table of numbers whose columns a person may name, or nothing where a file is none."""
        return table_head(file)

    def export(self, folder: Path) -> tuple[Path, ...]:
        """Write everything into CSV files that `import_files` reads back without loss."""
        with self._store.reading() as records:
            return write_folder(records.logbook(), folder, records.traces())

    def left_over(self, folder: Path, written: Sequence[Path]) -> tuple[Path, ...]:
        """Return recordings an earlier export wrote there and this one did not, because they were removed or renamed since."""
        return left_over(folder, written)

    def backup(self, file: Path, progress: Progress | None = None) -> Path:
        """Write a checked copy of everything, consistent while others write."""
        return copying.backup(self._store, file, progress)

    def restore(self, file: Path, progress: Progress | None = None) -> None:
        """Put a backup in place of everything stored, after checking it."""
        copying.restore(self._store, file, progress)

    def examine(self, file: Path) -> Contents:
        """Return what a backup holds, after checking it; nothing is changed."""
        with copying.opened_copy(file) as copy, copy.reading() as records:
            return records.contents()

    def replace_all(self, file: Path, progress: Progress | None = None) -> Path:
        """Put a backup in place of everything stored, and return the copy of what was stored, kept beside the database."""
        return copying.replace_all(self._store, file, progress)

    def load_demo(self, progress: Progress | None = None) -> ImportReport:
        """Import the logbook of an invented club that comes with the program."""
        from sample_data import csv_files

        with ExitStack() as stack:
            paths = [stack.enter_context(resources.as_file(file)) for file in csv_files()]
            return self.import_files(paths, progress=progress)
