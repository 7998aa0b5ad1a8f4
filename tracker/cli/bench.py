"""The command that says where controllers let go and take hold again, from readings on the bench."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from tracker.cli.options import Commands, add_command, add_json, open_chosen, words
from tracker.errors import InputError

if TYPE_CHECKING:
    from tracker.domain.bench import BenchResult, Meter

DESCRIPTION = """\
Says where a controller lets go and where it takes hold again, with uncertainty,
from a bench supply turned slowly down and up while the motor turns lightly. It
takes the tests stored, or a file of them, of which nothing is stored:

  controller,tested_at,supply_v,motor     one row a reading, in the order taken;
                                          motor is running or stopped
  time_s,supply_v,motor                   a recording while the supply moves

Go well below where it lets go and up again until it runs, five times over, in
steps of 0.05 V or less near the threshold. Use a bench supply with its current
limited, never a pack: wheels and propellers off the ground and out of reach."""

EXAMPLES = """\
  pack-tracker bench
  pack-tracker bench my-bench-test.csv
  pack-tracker bench recording.csv --controller left-track --delay-s 0.3
  pack-tracker bench --controller left-track --meter-within 0.01 --json"""


def add_to(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = add_command(commands, "bench", "where controllers let go and take hold again", DESCRIPTION, EXAMPLES)
    parser.add_argument(
        "file", metavar="FILE", nargs="?", type=words, help="a file of bench tests or a recording; left out, the tests stored"
    )
    parser.add_argument("--controller", metavar="NAME", type=words, help="this controller only; with a recording, whose it is")
    parser.add_argument(
        "--meter-within",
        metavar="VOLTS",
        type=words,
        help="the supply's meter is right within so much either way; left out, 0.5 %% and 0.01 V, as a hand-held one",
    )
    parser.add_argument(
        "--delay-s",
        metavar="SECONDS",
        type=words,
        help="of a recording: the longest the controller takes to act; left out, 0.5",
    )
    add_json(parser)
    parser.set_defaults(run=bench)


def bench(args: argparse.Namespace) -> int:
    """Show the thresholds of each controller."""
    from tracker.cli.controller_documents import bench_document
    from tracker.cli.documents import print_document
    from tracker.cli.output import clean, show, wrapped

    meter, delay_s = _meter(args.meter_within), _delay_s(args)
    warnings: tuple[str, ...] = ()
    with open_chosen(args) as services:
        if args.file is None:
            results = services.controllers.bench(args.controller, meter)
        else:
            shown = services.controllers.bench_file(Path(args.file), args.controller, meter, delay_s)
            results, warnings = shown.results, shown.warnings
    _refuse_where_nothing_let_go(results)
    if args.json:
        print_document(bench_document(results, warnings))
    elif results:
        show(bench_lines(results))
        for warning in warnings:
            show(wrapped(clean(f"warning: {warning}")))
    else:
        show(wrapped("No bench tests are stored yet. Name a file of them, or bring one in with 'pack-tracker import'."))
    return 0


def bench_lines(results: Sequence[BenchResult]) -> Iterator[str]:
    """Return a row a controller, then what makes each trip uncertain and what to heed."""
    from tracker.cli.output import Column, clean, finding_lines, local_day, quantity, table, wrapped

    columns = [
        Column(title="controller", shrinks=True, least=12),
        Column(title="lets go at V", right=True),
        Column(title="runs again at V", right=True),
        Column(title="times", right=True),
        Column(title="scatter V", right=True),
        Column(title="tested"),
    ]
    rows = [
        [
            result.controller,
            quantity(result.trip_v, _volts),
            quantity(result.restart_v, _volts),
            str(result.trips),
            _scatter(result),
            local_day(result.tested_at),
        ]
        for result in results
    ]
    yield from table(columns, rows)
    yield "±: half the 90 % interval; scatter: standard deviation of one time"
    for result in results:
        yield ""
        yield clean(result.controller)
        for line in _known_by(result):
            yield from wrapped(line, "  ")
        for finding in result.findings:
            yield from finding_lines(finding, "  ")


def _known_by(result: BenchResult) -> Iterator[str]:
    """Return what the thresholds rest on."""
    from tracker.domain.results import NotEnough

    names = {"step": "steps of the readings", "repeats": "scatter of the repeats", "meter": "meter", "delay": "delay on the moving supply"}
    parts = [f"{names[part.cause]} {part.sd_v:.3f}" for part in result.budget if part.sd_v >= 0.0005]
    if parts:
        yield f"standard uncertainty of the trip, V: {', '.join(parts)}"
    for missing in (result.trip_v, result.restart_v):
        if isinstance(missing, NotEnough):
            yield missing.why
            return


def _scatter(result: BenchResult) -> str:
    """Return how far one trip lies from another; steps hide what is smaller than they are."""
    if result.spread_v is None or result.step_v is None:
        return "–"
    return f"{result.spread_v:.3f}" if result.spread_v > result.step_v / 4 else f"< {result.step_v:.2f}"


def _meter(within: str | None) -> Meter | None:
    from tracker.domain.bench import Meter

    if within is None:
        return None
    return Meter(gain=0.0, digit_v=_number("--meter-within", within, 0.0, 100.0, "V"))


def _delay_s(args: argparse.Namespace) -> float | None:
    return None if args.delay_s is None else _number("--delay-s", args.delay_s, 0.0, 60.0, "s")


def _number(option: str, text: str, low: float, high: float, unit: str) -> float:
    from tracker.intake.numbers import Limits
    from tracker.intake.quantity import quantity
    from tracker.intake.text import CellError

    try:
        return quantity(text, Limits(low, high, unit))
    except CellError as problem:
        raise InputError(f"{option}: {problem}") from problem


def _refuse_where_nothing_let_go(results: Sequence[BenchResult]) -> None:
    from tracker.domain.results import NotEnough

    if results and not any(result.trips for result in results):
        told = [f"{each.controller}: {each.trip_v.why}" for each in results if isinstance(each.trip_v, NotEnough)]
        raise InputError(f"{' '.join(told)} Needed are readings with the motor running, and stopped as the supply goes further down.")


def _volts(value: float) -> str:
    return f"{value:.2f}"
