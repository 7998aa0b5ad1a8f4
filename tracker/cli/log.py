"""The commands that write down one run or one charge, from options named like the columns of the files."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from tracker.cli.options import Commands, add_command, add_json, open_chosen, words
from tracker.errors import FieldErrors, InputError

if TYPE_CHECKING:
    from tracker.domain.session import Run
    from tracker.services import Services


@dataclass(frozen=True, slots=True)
class Field:
    """A column of a logbook file as an option."""

    column: str
    placeholder: str
    help: str
    required: bool = False

    @property
    def option(self) -> str:
        """The option's name."""
        return f"--{self.column.replace('_', '-')}"


RUN_FIELDS = (
    Field("pack", "NAME", "the pack, as in the packs file", required=True),
    Field("run_min", "MIN", "how long it was driven, minutes", required=True),
    Field("vehicle", "NAME", "the model it was driven in"),
    Field("started_at", "TIME", "ISO 8601, local unless it has an offset; left out, the run has just ended"),
    Field("rest_before_min", "MIN", "minutes the pack had rested before the first reading"),
    Field("before_v", "VOLTS", "rested voltage before: the pack's, or each cell's from the negative end, '4.18 4.17'"),
    Field("loaded_v", "VOLTS", "lowest voltage seen under load, pack or cells"),
    Field("loaded_a", "AMPS", "current at that moment"),
    Field("mean_a", "AMPS", "mean current of the run"),
    Field("used_mah", "MAH", "counted by a meter in the model"),
    Field("after_v", "VOLTS", "rested voltage after, pack or cells"),
    Field("rest_after_min", "MIN", "minutes the pack had rested before that reading"),
    Field("cutoff_v", "VOLTS", "the controllers' cutoff settings as driven, when other than stored, in the vehicle's order"),
    Field("pack_c", "DEGC", "temperature of the pack, °C"),
    Field("ended_by", "WHAT", "what ended the run: driver, cutoff, alarm or other"),
    Field("notes", "TEXT", "anything else"),
)

CHARGE_FIELDS = (
    Field("pack", "NAME", "the pack, as in the packs file", required=True),
    Field("finished_at", "TIME", "ISO 8601, local unless it has an offset; left out, it has just finished"),
    Field("put_back_mah", "MAH", "what the charger says it put back"),
    Field("end_v", "VOLTS", "voltage at the end: the pack's, or each cell's from the negative end, '4.20 4.20'"),
    Field("goal", "WHAT", "what the charge was to reach: full, storage or partial"),
    Field("cell_mohm", "MOHM", "resistance of each cell as the charger shows it, milliohms, '3.1 3.3'"),
    Field("pack_c", "DEGC", "temperature of the pack, °C"),
    Field("notes", "TEXT", "anything else"),
)

RUN_DESCRIPTION = """\
Writes down one run, and says what it took out of each cell. Only the pack and the
minutes are needed; every reading more makes the answer surer. The most telling are
the rested voltages before and after, cell by cell, ten minutes or more after the
pack came to rest. Decimal point or decimal comma."""

RUN_EXAMPLES = """\
  pack-tracker log run --pack "Buggy B" --vehicle "Sand buggy" --run-min 14 --before-v 8.36 --after-v 7.52
  pack-tracker log run --pack "Buggy B" --run-min 9,5 --before-v "4,18 4,17" --after-v "3,81 3,74"
  pack-tracker log run --pack "Buggy B" --run-min 14 --after-v 7.52 --preview"""

CHARGE_DESCRIPTION = """\
Writes down one charge. What the charger put back tells what the runs before it
took, better than any voltage does. Decimal point or decimal comma."""

CHARGE_EXAMPLES = """\
  pack-tracker log charge --pack "Buggy B" --put-back-mah 3420 --end-v "4.20 4.20" --goal full
  pack-tracker log charge --pack "Buggy B" --goal storage --end-v 7.68 --finished-at 2026-05-02T21:30"""


def add_to(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    parser = add_command(
        commands,
        "log",
        "write down one run or one charge",
        "Writes down one run or one charge.",
        '  pack-tracker log run --pack "Buggy B" --run-min 14 --before-v 8.36 --after-v 7.52\n'
        '  pack-tracker log charge --pack "Buggy B" --put-back-mah 3420 --goal full\n\n'
        "'pack-tracker log run --help' and 'pack-tracker log charge --help' list every option.",
    )
    kinds = parser.add_subparsers(title="what to write down", metavar="WHAT", dest="what", required=True)
    run = add_command(kinds, "run", "a run", RUN_DESCRIPTION, RUN_EXAMPLES)
    _add_fields(run, RUN_FIELDS)
    run.add_argument("--new-vehicle", action="store_true", help="the vehicle is a new one; store its name")
    run.add_argument("--preview", action="store_true", help="say what the run took, store nothing")
    run.set_defaults(run=log_run)
    charge = add_command(kinds, "charge", "a charge", CHARGE_DESCRIPTION, CHARGE_EXAMPLES)
    _add_fields(charge, CHARGE_FIELDS)
    charge.set_defaults(run=log_charge)
    for each in (run, charge):
        each.add_argument("--replace", action="store_true", help="replace what is stored for this pack and time")
        add_json(each)


def log_run(args: argparse.Namespace) -> int:
    """Write down a run and show its estimate."""
    from tracker.cli.assess import estimate_lines
    from tracker.cli.documents import assess_document, print_document
    from tracker.cli.output import clean, local, show
    from tracker.domain.results import AssessedRun

    with _naming_options(RUN_FIELDS):
        run = _parsed_run(args)
        with open_chosen(args) as services:
            if args.preview:
                estimate = services.runs.preview(run)
            else:
                _store_new_vehicle(args, services)
                estimate = services.runs.log(run, replace=args.replace)
    if args.json:
        print_document(assess_document(estimate.model, [AssessedRun(run=run, estimate=estimate)]))
        return 0
    what = "Not written down, as asked" if args.preview else "Written down"
    show([f"{what}: run of {clean(run.pack)}, started {local(run.started_at)}"])
    show(estimate_lines(estimate))
    return 0


def log_charge(args: argparse.Namespace) -> int:
    """Write down a charge and show what it revealed."""
    from tracker.cli.documents import charge_document, print_document
    from tracker.cli.output import clean, finding_lines, local, show
    from tracker.intake.record import parse_charge

    with _naming_options(CHARGE_FIELDS):
        charge = parse_charge({"finished_at": _now().isoformat(), **_given(args, CHARGE_FIELDS)})
        with open_chosen(args) as services:
            findings = services.charges.log(charge, replace=args.replace)
    if args.json:
        print_document(charge_document(charge.pack, charge.finished_at, findings))
        return 0
    show([f"Written down: charge of {clean(charge.pack)}, finished {local(charge.finished_at)}"])
    for finding in findings:
        show(finding_lines(finding))
    return 0


def _parsed_run(args: argparse.Namespace) -> Run:
    from tracker.intake.record import parse_run

    fields = _given(args, RUN_FIELDS)
    if "started_at" in fields:
        return parse_run(fields)
    # Its length must be known to say when a run that has just ended started, so the fields are read twice.
    ended_at = _now()
    run = parse_run({**fields, "started_at": ended_at.isoformat()})
    started_at = ended_at - timedelta(seconds=run.run_s + (run.rest_after_s or 0))
    return parse_run({**fields, "started_at": started_at.isoformat()})


def _store_new_vehicle(args: argparse.Namespace, services: Services) -> None:
    from tracker.domain.controller import Vehicle

    if not args.new_vehicle:
        return
    if not args.vehicle:
        raise InputError("--new-vehicle needs the vehicle's name; add --vehicle NAME.")
    if args.vehicle not in {vehicle.name for vehicle in services.controllers.vehicles()}:
        services.controllers.save(Vehicle(name=args.vehicle))


def _add_fields(parser: argparse.ArgumentParser, fields: Sequence[Field]) -> None:
    for field in fields:
        parser.add_argument(field.option, metavar=field.placeholder, type=words, help=field.help, required=field.required)


def _given(args: argparse.Namespace, fields: Sequence[Field]) -> dict[str, str]:
    return {field.column: value for field in fields if (value := getattr(args, field.column)) is not None}


@contextmanager
def _naming_options(fields: Sequence[Field]) -> Iterator[None]:
    """Speak of the options a person typed, where what is refused speaks of columns."""
    options = {field.column: field.option for field in fields}
    try:
        yield
    except FieldErrors as errors:
        raise InputError("\n".join(f"{options.get(column, column)}: {words}" for column, words in errors.problems.items())) from errors


def _now() -> datetime:
    return datetime.now().astimezone().replace(microsecond=0)
