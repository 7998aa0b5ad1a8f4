"""What a cutoff plan gives cause to say about the controllers of a model and the pack they hang on."""

from __future__ import annotations

from collections.abc import Iterator

from tracker.chemistry import Chemistry
from tracker.domain.controller import Controller
from tracker.domain.harm import OUT_OF_USE, TO_BE_CHECKED
from tracker.domain.planning import CutoffPlan, PresentCutoff
from tracker.domain.results import SEVERITIES, Estimate, Finding, NotEnough, PackState
from tracker.physics.pack_draws import counted_cells
from tracker.rules import wording
from tracker.rules.cutoff_margin import MUCH_TOO_LOW
from tracker.rules.voltages import curve

LIKELY = 0.5
MUCH_LESS = 0.25
"""A controller that by itself risks less than this part of what all risk together is undone by another. The tool's own line."""
WASTED = 2.0 / 3.0
"""Less than this part of the charge used before the controllers let go: a third is never used. The tool's own line."""
COUNTED_ABOVE_FULL_V = 0.1
"""What a controller that counts cells takes for the most one cell can have, above full: as the plan reckons. Common practice."""
NEARLY_EMPTY_SOC = 0.05
LEFT_IN_H = 48.0
"""A pack left plugged in that comes to its floor sooner than this is spoken of. The tool's own line."""
_RISK_WHY = (
    "The pack goes on being discharged until the last controller lets go, each sees only the pack's total less the drop in the leads, "
    "and the weakest cell lies below the mean."
)


def plan_findings(plan: CutoffPlan, controllers: dict[str, Controller], chemistry: Chemistry, state: PackState) -> tuple[Finding, ...]:
    """Return what a plan gives cause to say, most pressing first, and as they stand here among equals."""
    found = (
        *_not_to_be_run(state),
        *_too_close(plan, chemistry),
        *_undone(plan),
        *_miscounts(plan, controllers, chemistry),
        *_never(plan, controllers),
        *_left_in(plan),
        *_wasteful(plan),
        *_guessed(plan),
    )
    return tuple(sorted(found, key=lambda finding: SEVERITIES.index(finding.severity)))


def _not_to_be_run(state: PackState) -> Iterator[Finding]:
    """A pack that is out of use, or that has to be checked first: a plan is no word about whether it is sound."""
    harm = [
        finding
        for finding in state.findings
        if finding.severity == "stop" and finding.subject == state.pack and finding.rule in OUT_OF_USE | TO_BE_CHECKED
    ]
    if state.state != "retire" and state.last_grade != "damaging" and not harm:
        return
    yield Finding(
        rule="pack-not-to-be-run",
        severity="stop",
        subject=state.pack,
        message=f"Do not run {state.pack} as it stands, whatever the cutoff. {state.next} This plan is for a pack that is sound.",
        why=harm[0].why if harm else "No cutoff makes good what has happened to a pack before.",
        source=harm[0].source if harm else None,
        at=harm[0].at if harm else None,
    )


def _too_close(plan: CutoffPlan, chemistry: Chemistry) -> Iterator[Finding]:
    lithium = chemistry.family == "lithium"
    for one in plan.present:
        if one.protects or not isinstance(one.trip_v, Estimate):
            continue
        cell_v = one.trip_v.value / plan.series
        like_nickel = lithium and cell_v < MUCH_TOO_LOW * plan.floor_v
        nickel = " That is where a controller meant for nickel packs lets go: it hardly protects a lithium pack." if like_nickel else ""
        yield Finding(
            rule="cutoff-too-close",
            severity="stop" if one.below_floor_probability >= LIKELY else "caution",
            subject=one.controller,
            message=f"{one.controller} lets go at {wording.volts(one.trip_v.value)}, {wording.volts(cell_v)} a cell. Run until it lets go, a cell "
            f"of {plan.task.pack} goes below its floor of {wording.volts(plan.floor_v)} {_chance(one.below_floor_probability)}.{nickel} "
            f"{_set_to(plan)}",
            why=f"{_RISK_WHY} {wording.standing_of(chemistry, 'floor_v')}",
            source=wording.source_of(chemistry, "floor_v"),
        )


def _undone(plan: CutoffPlan) -> Iterator[Finding]:
    if plan.together is None:
        return
    all_together = plan.together.below_floor_probability
    higher = [one for one in plan.present if one.protects or one.below_floor_probability <= MUCH_LESS * all_together]
    lower = [one for one in plan.present if not one.protects and one not in higher]
    if not higher or not lower:
        return
    worst = min(lower, key=_lets_go)
    alone = max(one.below_floor_probability for one in higher)
    pack = plan.task.pack
    would = (
        f"would protect {pack}"
        if all(one.protects for one in higher)
        else f"would bring a cell of {pack} below its floor only {_chance(alone)}"
    )
    yield Finding(
        rule="cutoff-undone",
        severity="stop" if all_together >= LIKELY else "caution",
        subject=worst.controller,
        message=f"{wording.listed([one.controller for one in higher])} {would}, but {worst.controller} goes on below it and "
        f"undoes that: together a cell goes below its floor {_chance(all_together)}. "
        "Set every controller on this pack at least as high, or end the run when the first lets go.",
        why="With two controllers on one pack the lowest trip decides, not the highest: the model still moves, weaker. Common practice.",
    )


def _miscounts(plan: CutoffPlan, controllers: dict[str, Controller], chemistry: Chemistry) -> Iterator[Finding]:
    """A controller that counts cells takes a nearly empty pack of many cells for a fuller one of fewer."""
    most_cell_v = chemistry["full_v"] + COUNTED_ABOVE_FULL_V
    near_empty_v = plan.series * float(curve(chemistry).voltage(NEARLY_EMPTY_SOC))
    counted = int(counted_cells(near_empty_v, most_cell_v, most_cells=plan.series))
    if counted >= plan.series:
        return
    for one in plan.present:
        kind = controllers.get(one.controller)
        if kind is None or kind.cutoff_mode != "cell_v" or not isinstance(one.trip_v, Estimate):
            continue
        trip_v = one.trip_v.value / plan.series
        yield Finding(
            rule="cells-miscounted",
            severity="caution",
            subject=one.controller,
            message=f"{one.controller} counts cells when it is switched on. Switched on with {plan.task.pack} nearly empty, below "
            f"{wording.volts(counted * most_cell_v)}, it may take the {plan.series} cells for {counted} and let go only at "
            f"{wording.volts(counted * trip_v)}, {wording.volts(counted * trip_v / plan.series)} a cell. Switch on with a full pack only; if it "
            "can be told the number of cells, tell it.",
            why="From its voltage alone a pack of many cells that is nearly empty looks like a fuller one of fewer. What it takes for the most "
            "of one cell is common practice, no source.",
        )


def _never(plan: CutoffPlan, controllers: dict[str, Controller]) -> Iterator[Finding]:
    for one in plan.present:
        if isinstance(one.trip_v, NotEnough):
            kind = controllers[one.controller].cutoff_mode if one.controller in controllers else "none"
            what = "has no cutoff" if kind == "none" else "has a cutoff of which no voltage is known"
            timer = _timer_words(plan)
            yield Finding(
                rule="no-cutoff-planned",
                severity="caution",
                subject=one.controller,
                message=f"{one.controller} {what}: nothing but the driver ends the run. Fit an alarm that watches every cell and stop when it "
                f"sounds{timer}; or give it a cutoff.",
                why=_RISK_WHY,
            )


def _left_in(plan: CutoffPlan) -> Iterator[Finding]:
    together = plan.together
    if together is None or isinstance(together.hours_to_floor, NotEnough) or together.hours_to_floor.value > LEFT_IN_H:
        return
    hours = together.hours_to_floor
    when = "within the hour" if hours.value < 1.0 else f"in about {hours.value:.0f} h"
    yield Finding(
        rule="left-plugged-in",
        severity="caution",
        subject=plan.task.vehicle,
        message=f"Left plugged into {plan.task.vehicle} after the controllers have let go, {plan.task.pack} comes to its floor {when}, and goes on down. "
        "Unplug it when the run ends.",
        why="Receiver, servos and the controllers themselves go on drawing on the pack. What they draw is taken from memory: 0.15 A and "
        "10 mA a controller.",
    )


def _wasteful(plan: CutoffPlan) -> Iterator[Finding]:
    lowest = min((one for one in plan.present), key=_lets_go, default=None)
    if lowest is None or not isinstance(lowest.trip_v, Estimate) or not plan.curve:
        return
    trip_v, most = lowest.trip_v.value, plan.curve[0].usable_ah
    at = min(plan.curve, key=lambda point: abs(point.pack_v - trip_v))
    if most <= 0 or at.usable_ah >= WASTED * most or (plan.recommended is not None and trip_v <= plan.recommended.pack_v):
        return
    yield Finding(
        rule="cutoff-wasteful",
        severity="note",
        subject=lowest.controller,
        message=f"{lowest.controller} lets go at {wording.volts(trip_v)}: of the {wording.mah(most)} this load could draw only about "
        f"{wording.mah(at.usable_ah)} are used. {_set_to(plan)}",
        why="A cutoff higher than the cells need ends runs early and harms nothing.",
    )


def _guessed(plan: CutoffPlan) -> Iterator[Finding]:
    if plan.load.guessed:
        yield Finding(
            rule="load-guessed",
            severity="note",
            subject=plan.task.vehicle,
            message=f"What {plan.task.vehicle} draws was guessed. Write down a few runs with what the charger put back, or its usual current.",
            why="How far the voltage sags decides where a controller lets go. The guess is from memory: a pack emptied in ten minutes.",
        )


def _set_to(plan: CutoffPlan) -> str:
    if plan.recommended is None:
        return "No cutoff keeps the risk as low as wanted under this load: take less current, or use an alarm on every cell and a timer."
    each, pack_v = plan.recommended.cell_v, plan.recommended.pack_v
    return f"Set it to {wording.volts(pack_v)}, {wording.volts(each)} a cell, and prove it on the bench."


def _timer_words(plan: CutoffPlan) -> str:
    return f", with a timer at {plan.timer_s.value / 60:.0f} min" if isinstance(plan.timer_s, Estimate) else ""


def _chance(risk: float) -> str:
    if risk > 0.99:
        return "in over 99 % of runs"
    return "almost never" if risk < 0.005 else f"in {100 * risk:.0f} % of runs"


def _lets_go(one: PresentCutoff) -> float:
    return one.trip_v.value if isinstance(one.trip_v, Estimate) else 0.0
