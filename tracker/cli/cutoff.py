"""The command that says where the controllers of a model should let go on a pack."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING

from tracker.cli.options import Commands, add_command, add_json, open_chosen, words
from tracker.errors import FieldErrors

if TYPE_CHECKING:
    from tracker.domain.planning import CutoffPlan, CutoffTask

DESCRIPTION = """\
Says at which voltage the controllers of a model should let go on a pack: the
lowest at which the chance that any cell goes below its floor stays as low as
wanted, driven as usual or gently; what the controllers risk as they stand; and
how long to set the timer so that the reserve is left.

The pack is taken as its own history has shown it, else as is typical of its
chemistry; the load from the model's runs, its usual current, or as typed here."""

EXAMPLES = """\
  pack-tracker cutoff "Buggy B" "Sand buggy"
  pack-tracker cutoff "Buggy B" "Sand buggy" --pack-c 0
  pack-tracker cutoff "Buggy B" "Sand buggy" --risk 0.005 --mean-a 22 --burst-a 45 --json"""


def add_to(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = add_command(commands, "cutoff", "where each controller should let go, and how long to set the timer", DESCRIPTION, EXAMPLES)
    parser.add_argument("pack", metavar="PACK", type=words, help="the pack")
    parser.add_argument("vehicle", metavar="VEHICLE", type=words, help="the model it runs in")
    parser.add_argument(
        "--risk", metavar="CHANCE", type=words, default="0.01", help="wanted chance a run that a cell goes below its floor; 0.01"
    )
    parser.add_argument("--pack-c", metavar="C", type=words, default="25", help="temperature of the pack; 25")
    parser.add_argument("--mean-a", metavar="A", type=words, help="mean current, where it is to be another than the model's runs show")
    parser.add_argument("--burst-a", metavar="A", type=words, help="current in bursts, likewise")
    add_json(parser)
    parser.set_defaults(run=cutoff)


def cutoff(args: argparse.Namespace) -> int:
    """Show the plan."""
    from tracker.cli.controller_documents import cutoff_document
    from tracker.cli.documents import print_document
    from tracker.cli.output import show

    try:
        task = _task(args)
        with open_chosen(args) as services:
            plan = services.planning.cutoff(task)
    except FieldErrors as errors:
        raise FieldErrors({_option(name): words for name, words in errors.problems.items()}) from errors
    if args.json:
        print_document(cutoff_document(plan))
    else:
        show(cutoff_lines(plan))
    return 0


def cutoff_lines(plan: CutoffPlan) -> Iterator[str]:
    """Return whether the pack may be run at all, the cutoff, the timer, the present controllers, the row of cutoffs, and what there is to know."""
    from tracker.cli.output import clean, finding_lines, wrapped

    first = [finding for finding in plan.findings if finding.severity == "stop" and finding.subject == plan.task.pack]
    for finding in first:
        yield from finding_lines(finding)
    yield from wrapped(clean(_headline(plan)))
    yield from wrapped(clean(plan.reason))
    yield from wrapped(_timer(plan))
    yield ""
    yield from _present_lines(plan)
    yield ""
    yield from _curve_lines(plan)
    yield ""
    for finding in plan.findings:
        if finding not in first:
            yield from finding_lines(finding)
    yield from wrapped(
        "caution: Prove a changed cutoff on the bench, unplug the pack when the run ends, and go by the maker's instructions where they ask for more."
    )


def _headline(plan: CutoffPlan) -> str:
    from tracker.cli.output import quantity, whole
    from tracker.units import mah_from_ah

    choice = plan.recommended
    if choice is None:
        return f"{plan.task.pack} in {plan.task.vehicle}: no cutoff is safe enough under this load."
    used = quantity(choice.usable_ah, lambda ah: whole(mah_from_ah(ah)))
    minutes = quantity(choice.run_s, lambda seconds: f"{seconds / 60:.0f}")
    return (
        f"{plan.task.pack} in {plan.task.vehicle}: let go at {choice.pack_v:.1f} V, {choice.cell_v:.2f} V a cell. "
        f"That leaves {used} mAh and {minutes} min to use."
    )


def _timer(plan: CutoffPlan) -> str:
    from tracker.cli.output import percent
    from tracker.domain.results import NotEnough

    if isinstance(plan.timer_s, NotEnough):
        return f"Timer: none. {plan.timer_s.why}"
    return (
        f"Timer: {plan.timer_s.value / 60:.1f} min leave {percent(plan.reserve_soc)} % in the weakest cell, nine times in ten; "
        "without any cutoff go by that and by an alarm on every cell."
    )


def _present_lines(plan: CutoffPlan) -> Iterator[str]:
    from tracker.cli.output import Column, clean, quantity, table, wrapped

    if not plan.present:
        yield from wrapped(clean(f"{plan.task.vehicle} has no controllers written down."))
        return
    columns = [Column(title="controller", shrinks=True), Column(title="lets go at V", right=True), Column(title="from"), Column(title="risk %", right=True)]  # fmt: skip
    rows = [
        [
            one.controller,
            quantity(one.trip_v, lambda volt: f"{volt:.2f}", missing="never"),
            "bench" if one.tested else "setting",
            _risk(one.below_floor_probability),
        ]
        for one in plan.present
    ]
    yield from table(columns, rows)
    for one in plan.present:
        yield from wrapped(clean(f"{one.controller}: {one.verdict}"))
    if plan.together is not None and len(plan.present) > 1:
        yield from wrapped(
            f"Together: {_risk(plan.together.below_floor_probability)} % until the last lets go, "
            f"{_risk(plan.together.driven_on_probability)} % for a driver who goes on when the pack has come back."
        )


def _curve_lines(plan: CutoffPlan) -> Iterator[str]:
    from tracker.cli.output import Column, table, whole
    from tracker.units import mah_from_ah

    columns = [
        Column(title="cutoff V", right=True), Column(title="risk %", right=True), Column(title="usable mAh", right=True), Column(title="min", right=True),
    ]  # fmt: skip
    step = max(1, len(plan.curve) // 14)
    advised = plan.recommended.pack_v if plan.recommended else None
    points = [point for place, point in enumerate(plan.curve) if place % step == 0 or point.pack_v == advised]
    rows = [
        [
            f"{'> ' if point.pack_v == advised else ''}{point.pack_v:.1f}",
            _risk(point.below_floor_probability),
            whole(mah_from_ah(point.usable_ah)),
            f"{point.run_s / 60:.0f}",
        ]
        for point in points
    ]
    yield from table(columns, rows)


def _risk(chance: float) -> str:
    return f"{100 * chance:.1f}" if chance < 0.1 else f"{100 * chance:.0f}"


def _task(args: argparse.Namespace) -> CutoffTask:
    from tracker.services.asking import cutoff_task

    typed = {
        "pack": args.pack,
        "vehicle": args.vehicle,
        "risk": args.risk,
        "c": args.pack_c,
        "mean_a": args.mean_a,
        "burst_a": args.burst_a,
    }
    return cutoff_task({name: text for name, text in typed.items() if text is not None})


def _option(name: str) -> str:
    return "--pack-c" if name == "c" else f"--{name.replace('_', '-')}"
