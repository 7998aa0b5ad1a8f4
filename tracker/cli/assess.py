"""The command that says what each run took out."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from tracker.cli.options import Commands, add_command, add_json, open_chosen, words

if TYPE_CHECKING:
    from tracker.domain.results import AssessedRun, CellDepth, RunEstimate

DESCRIPTION = """\
Shows for every run what it took out of the pack (mAh), how deep each cell went
(% of its capacity used, from the pack's negative end), a grade and what there is
to know about it. Worst first, the grades are damaging, deep, low and fine.
Behind ± is half the central 90 % interval.

Runs are shown as known now: what came later teaches about the pack, and so about
its earlier runs. --as-then shows each as it could be known at the time, from
what came before it, its own readings and the charge after it.

What has been estimated is kept; only runs that are new, or whose pack's history
has changed, are estimated again. --all estimates everything again."""

EXAMPLES = """\
  pack-tracker assess
  pack-tracker assess --pack "Buggy B"
  pack-tracker assess --all --json > season.json"""


def add_to(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = add_command(commands, "assess", "what each run took out of each cell", DESCRIPTION, EXAMPLES)
    parser.add_argument("--pack", metavar="NAME", type=words, help="this pack only")
    parser.add_argument("--all", action="store_true", help="estimate every run again, also those that need no new estimate")
    parser.add_argument("--as-then", action="store_true", help="each run as it could be known at the time, without what came later")
    add_json(parser)
    parser.set_defaults(run=assess)


def assess(args: argparse.Namespace) -> int:
    """Assess and show."""
    from tracker.cli.documents import assess_document, print_document
    from tracker.cli.output import show
    from tracker.cli.progress import ProgressLine

    with open_chosen(args) as services:
        with ProgressLine() as progress:
            if args.as_then:
                assessed = services.runs.assess_as_then(args.pack, progress=progress)
            else:
                assessed = services.runs.assess(args.pack, everything=args.all, progress=progress)
        if args.json:
            print_document(assess_document(services.runs.model, assessed, as_then=args.as_then))
        elif assessed:
            show(run_lines(assessed, as_then=args.as_then))
        else:
            show(["No runs are stored yet. Write one down with 'pack-tracker log run', or bring in files with 'pack-tracker import'."])
    return 0


def run_lines(assessed: Sequence[AssessedRun], *, as_then: bool = False) -> Iterator[str]:
    """Return what each run took, pack by pack."""
    from tracker.cli.output import clean

    yield "Each run as it could be known at the time" if as_then else "As known now"
    yield "used: mAh ± half the 90 % interval; depth: % used of each cell, 1 2 3 …"
    for pack, runs in groupby(assessed, key=lambda each: each.run.pack):
        yield ""
        yield clean(pack)
        yield from _pack_lines(list(runs))


def estimate_lines(estimate: RunEstimate) -> Iterator[str]:
    """Return one estimate in words: charge, each cell, the evidence, the findings."""
    from tracker.cli.output import Column, clean, finding_lines, percent, quantity, table, whole, wrapped
    from tracker.domain.results import NotEnough
    from tracker.units import mah_from_ah

    if isinstance(estimate.used_ah, NotEnough):
        yield from wrapped(f"No estimate: {clean(estimate.used_ah.why)}")
    else:
        yield f"used {quantity(estimate.used_ah, lambda ah: whole(mah_from_ah(ah)))} mAh (90 % interval), grade {_grade(estimate)}"
    if estimate.cells:
        columns = [
            Column(title="cell", right=True),
            Column(title="left %", right=True),
            Column(title="lowest V under load", right=True),
            Column(title="grade"),
        ]
        rows = [
            [
                str(cell.cell),
                quantity(cell.soc_after, percent),
                quantity(cell.lowest_loaded_v, lambda volt: f"{volt:.2f}"),
                cell.grade or "?",
            ]
            for cell in estimate.cells
        ]
        yield from table(columns, rows)
    for vote in estimate.evidence:
        said = quantity(vote.used_ah, lambda ah: whole(mah_from_ah(ah)), missing="nothing")
        odd = ", disagrees" if vote.disagrees else ""
        words = f". {vote.words}" if vote.words else ""
        yield from wrapped(clean(f"{vote.kind.replace('_', ' ')} says {said} mAh, counted {percent(vote.weight)} %{odd}{words}"))
    for finding in estimate.findings:
        yield from finding_lines(finding)


def _pack_lines(runs: Sequence[AssessedRun]) -> Iterator[str]:
    from tracker.cli.output import Column, finding_lines, local, quantity, table, whole
    from tracker.units import mah_from_ah

    columns = [
        Column(title="started"),
        Column(title="vehicle", shrinks=True),
        Column(title="used mAh", right=True),
        Column(title="depth %", shrinks=True, least=16),
        Column(title="grade"),
    ]
    rows = [
        [
            local(each.run.started_at),
            each.run.vehicle or "–",
            quantity(each.estimate.used_ah, lambda ah: whole(mah_from_ah(ah))),
            " ".join(_depth(cell) for cell in each.estimate.cells) or "?",
            _grade(each.estimate),
        ]
        for each in runs
    ]
    head, *lines = table(columns, rows)
    yield head
    for line, each in zip(lines, runs, strict=True):
        yield line
        for finding in each.estimate.findings:
            yield from finding_lines(finding, "    ")


def _depth(cell: CellDepth) -> str:
    from tracker.cli.output import percent
    from tracker.domain.results import Estimate

    return percent(1 - cell.soc_after.value) if isinstance(cell.soc_after, Estimate) else "?"


def _grade(estimate: RunEstimate) -> str:
    """Return the worst cell's grade, and which cells earned it where not all did."""
    from tracker.domain.results import GRADES

    worst = min((cell.grade for cell in estimate.cells if cell.grade), key=GRADES.index, default=None)
    if worst is None:
        return "?"
    which = [str(cell.cell) for cell in estimate.cells if cell.grade == worst]
    if len(which) == len(estimate.cells):
        return worst
    return f"{worst} (cell {' '.join(which)})"
