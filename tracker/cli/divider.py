"""The command that finds the resistor which moves a controller's trip point."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from tracker.cli.options import Commands, add_command, add_json, words
from tracker.domain.divider import PLACE_WORDS, RAISES, SERIES
from tracker.errors import FieldErrors, InputError

if TYPE_CHECKING:
    from tracker.domain.divider import DividerPlan, DividerTask, PlaceOption, TripLimits
    from tracker.intake.numbers import Limits

WRONG_USAGE = 2

DESCRIPTION = """\
Finds the resistor that moves the trip point of a controller which cannot be set.
It senses its pack through two resistors, pack plus - top - tap - bottom - pack
minus, and lets go when the tap falls to a voltage of its own. Read both off the
board, measure on the bench where it lets go, and say where it shall.

Resistances are 10k, 4k7, 0R47, 2M2 or plain ohms. Where the parts are not known,
--ratio (top over bottom) tells the resistor in units of one of them.

Altering a controller ends its warranty and is for those who can solder fine-pitch
parts. Take the pack off first, and prove the new trip on the bench before a pack
is connected. The maker's instructions come first."""

EXAMPLES = """\
  pack-tracker divider --top 10k --bottom 10k --trips-at 5.05 --wanted 6.4
  pack-tracker divider --top 33k --bottom 12k --trips-at 5.05 --wanted 6.4 --series E96 --part-tolerance 1
  pack-tracker divider --ratio 1 --trips-at 5.05 --wanted 6.4
  pack-tracker divider --top 10k --bottom 10k --trips-at 5.05 --wanted 6.4 --place series_top --json"""


def add_to(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = add_command(commands, "divider", "the resistor that moves a trip point", DESCRIPTION, EXAMPLES)
    parser.add_argument("--top", metavar="R", type=words, help="the resistor between pack plus and the tap")
    parser.add_argument("--bottom", metavar="R", type=words, help="the resistor between the tap and pack minus")
    parser.add_argument("--ratio", metavar="X", type=words, help="top over bottom, where one or both are not known")
    parser.add_argument("--trips-at", metavar="V", type=words, required=True, help="where it lets go now, by a bench test")
    parser.add_argument("--wanted", metavar="V", type=words, required=True, help="where it shall let go")
    parser.add_argument("--series", type=str.upper, choices=SERIES, default="E24", help="series of preferred values to choose from; E24")
    parser.add_argument("--place", choices=tuple(RAISES), help="where to add it; left out, across a part, where no trace has to be cut")
    parser.add_argument("--part-tolerance", metavar="PERCENT", type=words, default="1", help="of all three resistors; 1")
    parser.add_argument("--reference-tolerance", metavar="PERCENT", type=words, default="1", help="of the voltage it compares with; 1")
    parser.add_argument("--bench-within", metavar="V", type=words, default="0.05", help="how far --trips-at may be off either way; 0.05")
    add_json(parser)
    parser.set_defaults(run=divider)


def divider(args: argparse.Namespace) -> int:
    """Show the resistor and what it does."""
    from tracker.cli.controller_documents import divider_document
    from tracker.cli.documents import print_document
    from tracker.cli.output import show
    from tracker.services.planning import move_trip_point

    known = tuple(name for name in ("top", "bottom", "ratio") if getattr(args, name) is not None)
    if known not in (("top", "bottom"), ("ratio",), ("bottom", "ratio"), ("top", "ratio")):
        given = " and ".join(f"--{name}" for name in known) or "neither"
        print(f"pack-tracker divider: give --top and --bottom, or --ratio with at most one of them; given is {given}.", file=sys.stderr)
        return WRONG_USAGE
    plan = move_trip_point(_task(args))
    if args.json:
        print_document(divider_document(plan))
    else:
        show(divider_lines(plan))
    return 0


def divider_lines(plan: DividerPlan) -> Iterator[str]:
    """Return the resistor, the choices, how far off the trip may be, the other places, and what to heed."""
    from tracker.cli.output import wrapped

    yield from wrapped(_headline(plan))
    if plan.choices:
        yield ""
        yield from _choice_lines(plan)
    yield ""
    yield from _limit_lines(plan)
    yield ""
    yield from _place_lines(plan)
    yield ""
    for caution in plan.cautions:
        yield from wrapped(f"caution: {caution}")


def ohms(value_ohm: float | None) -> str:
    """Return a resistance to the digits preferred values have."""
    if value_ohm is None:
        return "–"
    for size, unit in ((1e6, "MΩ"), (1e3, "kΩ")):
        if value_ohm >= size:
            return f"{value_ohm / size:.4g} {unit}"
    return f"{value_ohm:.4g} Ω"


def _headline(plan: DividerPlan) -> str:

    task = plan.task
    now = f"It lets go at {task.trips_at_v:.2f} V"
    compares = f"it compares with {plan.reference_v:.4g} V"
    if plan.add == "none":
        return f"Add nothing. {now}, which is where it is wanted; {compares}."
    place = PLACE_WORDS[plan.add]
    if plan.chosen is None:
        part = "bottom" if plan.add.endswith("bottom") else "top"
        return (
            f"Add {plan.ideal_ratio or 0.0:.4g} times the {part} resistor {place}. {now} and is wanted at {task.wanted_v:.2f} V; {compares}. "
            "The value in ohms is not known before that resistor is."
        )
    return (
        f"Add {ohms(plan.chosen.added_ohm)} {place}: it then lets go at {plan.trip_v:.3f} V. {now} and is wanted at {task.wanted_v:.2f} V; "
        f"{compares}. Exact would be {ohms(plan.ideal_ohm)}."
    )


def _choice_lines(plan: DividerPlan) -> Iterator[str]:
    from tracker.cli.output import Column, table

    columns = [Column(title=plan.task.series, right=True), Column(title="lets go at V", right=True), Column(title="")]
    remarks = {id(plan.not_below): "nearest that is not below", id(plan.chosen): "nearest"}
    if plan.not_below == plan.chosen:
        remarks[id(plan.chosen)] = "nearest, and not below"
    in_order = sorted(plan.choices, key=lambda choice: choice.added_ohm)
    yield from table(columns, [[ohms(each.added_ohm), f"{each.trip_v:.3f}", remarks.get(id(each), "")] for each in in_order])


def _limit_lines(plan: DividerPlan) -> Iterator[str]:
    from tracker.cli.output import Column, table, wrapped

    task = plan.task
    columns = [Column(title="the trip may be off by its parts"), *(Column(title=title, right=True) for title in ("worst case V", "95 % V"))]
    rows = [
        ["this one, bench tested before", *_span(plan.as_tested)],
        ["any one built like it", *_span(plan.as_designed)],
    ]
    yield from table(columns, rows)
    rss = "" if plan.as_designed.rss_v is None else f"; root sum square of the second: {plan.as_designed.rss_v:.3f} V"
    yield from wrapped(
        f"resistors ±{100 * task.part_tolerance:g} %, compared voltage ±{100 * task.reference_tolerance:g} %, bench reading "
        f"±{task.bench_within_v:g} V{rss}"
    )
    yield from wrapped(f"warmer by {plan.drift.change_k:g} K: ±{plan.drift.rss_v:.3f} V, at worst ±{plan.drift.worst_v:.3f} V")
    if plan.power_w is not None and plan.most_power_w is not None:
        yield from wrapped(f"heat in it: {1000 * plan.power_w:.3g} mW at the trip, {1000 * plan.most_power_w:.3g} mW on a full pack")


def _span(limits: TripLimits) -> tuple[str, str]:
    return f"{limits.worst_low_v:.3f} to {limits.worst_high_v:.3f}", f"{limits.low_95_v:.3f} to {limits.high_95_v:.3f}"


def _place_lines(plan: DividerPlan) -> Iterator[str]:
    from tracker.cli.output import wrapped

    yield "all four places:"
    for option in plan.places:
        yield from wrapped(f"{option.place} – {PLACE_WORDS[option.place]}: {_what_it_takes(option)}", "  ")


def _what_it_takes(option: PlaceOption) -> str:
    if option.why_not:
        return f"no; {option.why_not}"
    cut = "; its part has to be lifted or a trace cut" if option.cuts_trace else ""
    if option.chosen is None:
        part = "bottom" if option.place.endswith("bottom") else "top"
        return f"{option.ideal_ratio or 0.0:.4g} times the {part} one{cut}"
    return f"{ohms(option.chosen.added_ohm)} (exact {ohms(option.ideal_ohm)}) gives {option.chosen.trip_v:.3f} V{cut}"


def _task(args: argparse.Namespace) -> DividerTask:
    """Return what was asked; InputError names every option at fault."""
    from tracker.domain.divider import DividerTask
    from tracker.intake.numbers import Limits
    from tracker.intake.quantity import quantity, resistance

    def number(limits: Limits) -> Callable[[str], float]:
        return lambda text: quantity(text, limits)

    volts, percent = Limits(0, 1000, "V", low_excluded=True), Limits(0, 50, "%")
    readers: dict[str, Callable[[str], float]] = {
        "top": resistance,
        "bottom": resistance,
        "ratio": number(Limits(0.001, 1000, "")),
        "trips_at": number(volts),
        "wanted": number(volts),
        "part_tolerance": number(percent),
        "reference_tolerance": number(percent),
        "bench_within": number(Limits(0, 100, "V")),
    }
    values = _read(args, readers)
    bottom_ohm = values.get("bottom")
    if "top" in values and "bottom" not in values:
        bottom_ohm = values["top"] / values["ratio"]
    ratio = values["ratio"] if "ratio" in values else values["top"] / values["bottom"]
    return DividerTask(
        ratio=ratio,
        bottom_ohm=bottom_ohm,
        trips_at_v=values["trips_at"],
        wanted_v=values["wanted"],
        series=args.series,
        place=args.place,
        part_tolerance=values["part_tolerance"] / 100.0,
        reference_tolerance=values["reference_tolerance"] / 100.0,
        bench_within_v=values["bench_within"],
    )


def _read(args: argparse.Namespace, readers: dict[str, Callable[[str], float]]) -> dict[str, float]:
    values: dict[str, float] = {}
    problems: dict[str, str] = {}
    for name, read in readers.items():
        text = getattr(args, name)
        if text is None:
            continue
        try:
            values[name] = read(text)
        except InputError as problem:
            problems[f"--{name.replace('_', '-')}"] = str(problem)
    if problems:
        raise FieldErrors(problems)
    return values
