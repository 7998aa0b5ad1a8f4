"""The command that shows what is in the box."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from tracker.cli.options import Commands, add_command, add_json, open_chosen

if TYPE_CHECKING:
    from tracker.domain.results import PackState

DESCRIPTION = """\
Shows every pack in use: how full it should be, how deep its last run went, and
what to do with it next; below, everything that needs looking at, most pressing
first. Packs taken out of use are shown with --retired."""

EXAMPLES = """\
  pack-tracker packs
  pack-tracker packs --retired --json"""


def add_to(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = add_command(commands, "packs", "what is in the box, and what to do next", DESCRIPTION, EXAMPLES)
    parser.add_argument("--retired", action="store_true", help="also show packs taken out of use")
    add_json(parser)
    parser.set_defaults(run=packs)


def packs(args: argparse.Namespace) -> int:
    """Show the box."""
    from tracker.cli.documents import packs_document, print_document
    from tracker.cli.output import show
    from tracker.cli.progress import ProgressLine

    with open_chosen(args) as services, ProgressLine() as progress:
        states = services.packs.states(include_retired=args.retired, progress=progress)
    if args.json:
        print_document(packs_document(states))
    elif states:
        show(box_lines(states))
    else:
        show(["No packs are stored yet. Bring in a packs file with 'pack-tracker import', or look around with 'pack-tracker demo'."])
    return 0


def box_lines(states: Sequence[PackState]) -> Iterator[str]:
    """Return one row a pack, and what to do under the table."""
    from tracker.cli.output import Column, clean, finding_lines, local_day, percent, quantity, table, whole, wrapped
    from tracker.services.urgency import most_urgent_first
    from tracker.units import mah_from_ah

    columns = [
        Column(title="pack", shrinks=True, least=12),
        Column(title="kind"),
        Column(title="state"),
        Column(title="full %", right=True),
        Column(title="last used"),
        Column(title="depth %", right=True),
        Column(title="grade"),
        Column(title="runs", right=True),
    ]
    rows = [
        [
            state.pack,
            f"{state.chemistry} {state.series}S {whole(mah_from_ah(state.capacity_ah))}",
            state.state,
            quantity(state.soc, percent),
            local_day(state.last_used_at),
            quantity(state.last_depth, percent),
            state.last_grade or "–",
            whole(state.runs),
        ]
        for state in states
    ]
    yield from table(columns, rows)
    yield "kind: chemistry, cells in series, rated mAh; ±: half the 90 % interval"
    yield ""
    for state in states:
        yield from wrapped(clean(f"{state.pack}: {state.next}"))
    findings = most_urgent_first(finding for state in states for finding in state.findings)
    if findings:
        yield ""
    for finding in findings:
        yield from finding_lines(finding, subject=True)
