"""The commands that bring data in and take it out: files, backups."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from tracker.cli.options import Commands, add_command, add_json, open_chosen
from tracker.cli.recording import add_options as add_recording_options
from tracker.cli.recording import import_recording, is_one_recording

if TYPE_CHECKING:
    from tracker.domain.results import ImportReport
    from tracker.services import Services

MOST_AT_ONCE = 20_000
"""Up to so many runs are assessed as part of an import; more are left for the next look at them."""

IMPORT_DESCRIPTION = """\
Brings in logbook files (CSV), or every CSV file of a folder. What a file holds is
told from its header, not its name:

  packs        pack chemistry series capacity_mah, and: parallel continuous_c
               acquired_on retired_on notes
  vehicles     vehicle, and: controllers lead_mohm usual_a notes
  controllers  controller cutoff_mode, and: cutoff_v restart_v load_share
               powers_receiver notes
  runs         pack started_at run_min, and: vehicle rest_before_min before_v
               loaded_v loaded_a mean_a used_mah after_v rest_after_min cutoff_v
               pack_c ended_by notes
  charges      pack finished_at, and: put_back_mah end_v goal cell_mohm pack_c notes
  bench        controller tested_at supply_v motor
  recording    what a logger of any make wrote: time, voltage, current, perhaps
               each cell and a temperature. Columns, units and the sign of
               discharge are found out from headers and numbers, and told

All files named are stored together or not at all: one bad row and nothing is,
and every bad row is listed. The same rows again change nothing. A row that
differs from the stored one is refused unless --update is given."""

IMPORT_EXAMPLES = """\
  pack-tracker import packs.csv runs.csv
  pack-tracker import my-logbook/ --dry-run
  pack-tracker import corrected-runs.csv --update
  pack-tracker import log0042.csv --dry-run
  pack-tracker import log0042.csv --pack "Buggy B" --started-at 2026-05-02T14:30
  pack-tracker import log.csv --pack "Buggy B" --columns "volts=Ch 1,amps=Ch 2" --discharge negative"""

EXPORT_DESCRIPTION = """\
Writes everything stored into CSV files of the same kinds that import reads, so
that export and then import into an empty database gives the same data."""

EXPORT_EXAMPLES = """\
  pack-tracker export my-logbook/"""

BACKUP_DESCRIPTION = """\
Writes a checked copy of the database into one file. It is consistent even while
something is being written."""

BACKUP_EXAMPLES = """\
  pack-tracker backup packs-2026-05.sqlite3"""

RESTORE_DESCRIPTION = """\
Puts a backup in place of everything stored. The backup is checked first; one that
is damaged, or not a backup of this program, is refused and nothing changes."""

RESTORE_EXAMPLES = """\
  pack-tracker backup before-restore.sqlite3
  pack-tracker restore packs-2026-05.sqlite3"""


def add_to(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    bring = add_command(commands, "import", "bring in CSV files", IMPORT_DESCRIPTION, IMPORT_EXAMPLES)
    bring.add_argument("paths", metavar="PATH", nargs="+", type=Path, help="a CSV file, or a folder of them")
    bring.add_argument("--update", action="store_true", help="let rows that differ from stored ones replace them")
    add_recording_options(bring)
    bring.add_argument("--dry-run", action="store_true", help="check everything and say what would change, store nothing")
    add_json(bring)
    bring.set_defaults(run=import_files)

    export = add_command(commands, "export", "write everything into CSV files", EXPORT_DESCRIPTION, EXPORT_EXAMPLES)
    export.add_argument("folder", metavar="FOLDER", type=Path, help="where to; made when it is not there")
    export.set_defaults(run=export_files)

    backup = add_command(commands, "backup", "write a checked copy of the database", BACKUP_DESCRIPTION, BACKUP_EXAMPLES)
    backup.add_argument("file", metavar="FILE", type=Path, help="a file that does not exist yet")
    backup.set_defaults(run=write_backup)

    restore = add_command(commands, "restore", "put a backup in place of what is stored", RESTORE_DESCRIPTION, RESTORE_EXAMPLES)
    restore.add_argument("file", metavar="FILE", type=Path, help="a file written by backup")
    restore.set_defaults(run=read_backup)


def import_files(args: argparse.Namespace) -> int:
    """Import, then assess what is new unless that is very much."""
    if is_one_recording(args):
        return import_recording(args)
    from tracker.cli.documents import import_document, print_document
    from tracker.cli.output import show
    from tracker.cli.progress import ProgressLine

    with open_chosen(args) as services:
        with ProgressLine() as progress:
            report = services.exchange.import_files(args.paths, update=args.update, dry_run=args.dry_run, progress=progress)
        if args.json:
            print_document(import_document(report))
        else:
            show(report_lines(report))
        if not args.dry_run:
            show(_assess_new(services, quiet=args.json))
    return 0


def export_files(args: argparse.Namespace) -> int:
    """Export."""
    with open_chosen(args) as services:
        written = services.exchange.export(args.folder)
        older = services.exchange.left_over(args.folder, written)
    for path in written:
        print(f"written: {path}")
    for path in older:
        print(f"left alone: {path}")
    if older:
        print("These are recordings of an earlier export that are not stored now. An import of the folder brings them back: delete them first.")
    return 0


def write_backup(args: argparse.Namespace) -> int:
    """Back up."""
    with open_chosen(args) as services:
        print(f"written and checked: {services.exchange.backup(args.file)}")
    return 0


def read_backup(args: argparse.Namespace) -> int:
    """Restore."""
    with open_chosen(args) as services:
        services.exchange.restore(args.file)
        print(f"restored from {args.file} into {services.database.url_shown}")
    return 0


def report_lines(report: ImportReport) -> Iterator[str]:
    """Return what an import brought."""
    from tracker.cli.output import Column, clean, table, whole, wrapped

    counts = (report.added, report.updated, report.unchanged)
    kinds = [kind for kind in report.added if any(count.get(kind) for count in counts)]
    if report.dry_run:
        yield "Nothing was stored, as asked. This is what the import would do:"
    if kinds:
        columns = [Column(title="kind"), *(Column(title=title, right=True) for title in ("added", "replaced", "unchanged"))]
        yield from table(columns, [[kind.replace("_", " "), *(whole(count.get(kind, 0)) for count in counts)] for kind in kinds])
    else:
        yield "The files hold no records."
    if report.differences:
        yield "Replaced, field by field:" if not report.dry_run else "What would be replaced, field by field:"
    for row in report.differences:
        fields = "; ".join(f"{field.column} {field.stored or 'nothing'} -> {field.given or 'nothing'}" for field in row.fields)
        yield from wrapped(clean(f"{row.file}:{row.line}: {row.name}: {fields}"))
    more = sum(report.updated.values()) - len(report.differences)
    if report.differences and more:
        yield f"… and {more:,} more"
    for warning in report.warnings:
        yield from wrapped(clean(f"warning: {warning}"))


def _assess_new(services: Services, *, quiet: bool) -> list[str]:
    from tracker.cli.output import counted
    from tracker.cli.progress import ProgressLine

    waiting = services.runs.waiting()
    words: list[str] = []
    if waiting > MOST_AT_ONCE:
        words = [f"{counted(waiting, 'run')} not assessed yet; do it now with 'pack-tracker assess', or they are when first looked at."]
    elif waiting:
        with ProgressLine() as progress:
            services.runs.refresh(progress=progress)
        words = [f"{counted(waiting, 'run')} assessed; see 'pack-tracker assess' and 'pack-tracker packs'."]
    return [] if quiet else words
