"""What a bench test shows: a controller that protects its packs too little, not as it is set, or not the same each time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from math import hypot

from tracker.chemistry import Chemistry
from tracker.domain.results import Estimate, Finding, Quantity
from tracker.rules import wording
from tracker.rules.cutoff_margin import MUCH_TOO_LOW
from tracker.rules.evidence import BenchEvidence
from tracker.rules.voltages import curve

OFF_SETTING_V = 0.05
"""A setting is written to this, and differs from the trip by less for no other reason. From memory."""
SMALL_HYSTERESIS_V = 0.1
"""A loaded pack comes up by more than this when its motor stops: 20 A through 10 mΩ are 0.2 V. From memory."""
FEWEST_TRIPS = 3
"""So few show how a trip scatters; five are better. Common practice."""
LOOSE_V = 0.1
"""A trip known no better than this either way says little about a margin. The tool's own definition."""
_TOLERANCE_V = 0.005
"""Voltages of cells are spoken of to a hundredth of a volt."""
_SURELY = 2.0
"""A change counts from twice the half width of its 90 % interval on."""
_ALTERED = (
    "Common practice on two cells: a controller set for nickel lets go just over 5.0 V, one altered for lithium at 6.4 to 6.5 V, "
    "and both run again when the voltage comes back."
)
_LOWEST_DECIDES = "The pack goes on being discharged until the last controller lets go. Common practice."


@dataclass(frozen=True, slots=True)
class _Group:
    """Packs of one chemistry and one number of cells: one voltage of the supply means the same to each."""

    chemistry: Chemistry
    series: int
    names: tuple[str, ...]


def never_trips(evidence: BenchEvidence) -> Finding | None:
    """It was never seen to let go."""
    result = evidence.result
    if isinstance(result.trip_v, Estimate):
        return None
    return Finding(
        rule="bench-never-trips",
        severity="caution",
        subject=result.controller,
        message=f"{result.trip_v.why} Until {result.controller} is seen to let go, take it that it protects nothing: test it again, beginning "
        "with the motor running lightly and turning the supply down until it stops, and look up in its maker's instructions whether its "
        "cutoff can be switched off.",
        why=_LOWEST_DECIDES,
        at=result.tested_at,
    )


def trips_under_floor(evidence: BenchEvidence) -> Iterator[Finding]:
    """Yield a finding for each kind of pack whose cells are under their floor when it lets go."""
    trip = evidence.result.trip_v
    for group in _groups(evidence):
        cell_v = _cell_v(evidence, trip, group)
        floor = group.chemistry["floor_v"]
        if cell_v is None or cell_v.value >= floor - _TOLERANCE_V:
            continue
        like_nickel = group.chemistry.family == "lithium" and cell_v.value < MUCH_TOO_LOW * floor
        yield Finding(
            rule="bench-trip-under-floor",
            severity="stop" if like_nickel else "caution",
            subject=evidence.result.controller,
            message=f"{evidence.result.controller} lets go at {_volts(trip)}, {_volts(cell_v)} a cell on {wording.listed(group.names)}; the "
            f"floor is {wording.volts(floor)}. "
            + ("Do not run them on it as it is: set" if like_nickel else "Set")
            + f" or move its trip to at least {wording.volts(floor)} a cell, {wording.volts(floor * group.series)} for {group.series} cells, "
            "with some margin above that, and test it again.",
            why=f"The weakest cell is always lower than the mean the controller watches. {_ALTERED} "
            + wording.standing_of(group.chemistry, "floor_v"),
            source=wording.source_of(group.chemistry, "floor_v"),
            at=evidence.result.tested_at,
        )


def other_lets_go_lower(evidence: BenchEvidence) -> Iterator[Finding]:
    """Yield a finding for each controller in the same model that surely lets go lower."""
    trip = evidence.result.trip_v
    for other in evidence.beside:
        if (
            isinstance(trip, Estimate)
            and isinstance(other.trip_v, Estimate)
            and trip.value - other.trip_v.value > _together(trip, other.trip_v)
        ):
            yield Finding(
                rule="bench-other-lower",
                severity="caution",
                subject=evidence.result.controller,
                message=f"{other.controller} in the same model lets go at {_volts(other.trip_v)}, lower than {evidence.result.controller} at "
                f"{_volts(trip)}. The lower one decides how deep the pack goes: end the run when the first one lets go, or bring both to the "
                "higher trip.",
                why=_LOWEST_DECIDES,
                at=evidence.result.tested_at,
            )


def off_its_setting(evidence: BenchEvidence) -> Finding | None:
    """It lets go elsewhere than it is said to be set to."""
    trip, controller = evidence.result.trip_v, evidence.controller
    if not isinstance(trip, Estimate) or controller is None:
        return None
    name = controller.name
    if controller.cutoff_mode == "none" or controller.cutoff_v is None:
        return Finding(
            rule="bench-setting-not-stored",
            severity="note",
            subject=name,
            message=f"{name} lets go at {_volts(trip)}, but no cutoff of it is written down. Write it down, so that runs are judged by it.",
            why="Without it the tool takes it that nothing but the driver ends a run.",
            at=evidence.result.tested_at,
        )
    set_v = controller.cutoff_v * (_counted_cells(trip, controller.cutoff_v) if controller.cutoff_mode == "cell_v" else 1)
    off_v = trip.value - set_v
    if abs(off_v) <= hypot(OFF_SETTING_V, trip.high - trip.value):
        return None
    lower = off_v < 0
    return Finding(
        rule="bench-off-setting",
        severity="caution" if lower else "note",
        subject=name,
        message=f"{name} is written down as set to {_setting(controller.cutoff_v, set_v)}, but lets go at {_volts(trip)}, "
        f"{wording.volts(abs(off_v))} {'lower: packs on it go deeper than the setting says' if lower else 'higher'}. Go by the bench: write that down "
        "as its cutoff, or set it anew and test it again.",
        why="A controller is set in its own steps, and its parts and its reference have tolerances. Common practice.",
        at=evidence.result.tested_at,
    )


def moved_since(evidence: BenchEvidence) -> Finding | None:
    """It lets go elsewhere than in the test before."""
    trip, earlier = evidence.result.trip_v, evidence.result.earlier
    if not earlier or not isinstance(trip, Estimate) or not isinstance(earlier[-1].trip_v, Estimate):
        return None
    before = earlier[-1].trip_v
    if abs(trip.value - before.value) <= _together(trip, before):
        return None
    return Finding(
        rule="bench-moved",
        severity="caution" if trip.value < before.value else "note",
        subject=evidence.result.controller,
        message=f"{evidence.result.controller} let go at {_volts(before)} in the test before and at {_volts(trip)} in the last. If nobody "
        "altered, replaced or set it anew between the two, look at its joints and leads and test it again before relying on it.",
        why="What was found on the bench holds only as long as nothing changed. Common practice.",
        at=evidence.result.tested_at,
    )


def wanders(evidence: BenchEvidence) -> Finding | None:
    """The trip wanders from one repeat to the next, all one way."""
    drift = evidence.result.drift_v
    if not isinstance(drift, Estimate) or abs(drift.value) <= _SURELY * (drift.high - drift.value):
        return None
    return Finding(
        rule="bench-drifts",
        severity="caution",
        subject=evidence.result.controller,
        message=f"Over {evidence.result.trips} repeats the trip of {evidence.result.controller} wandered "
        f"{'down' if drift.value < 0 else 'up'} by {wording.volts(abs(drift.value))}. Let it cool, test it again with pauses between the repeats, "
        "and leave margin for the lower trip.",
        why="What warms up moves: references and resistors change with temperature, and a dry joint with every touch. Common practice.",
        at=evidence.result.tested_at,
    )


def chatters(evidence: BenchEvidence) -> Finding | None:
    """It lets go and takes hold again about the same voltage."""
    result, gap = evidence.result, evidence.result.hysteresis_v
    close = isinstance(gap, Estimate) and gap.high < SMALL_HYSTERESIS_V
    if not result.restless and not close:
        return None
    seen = (
        f"let go and took hold again more than once over {_times(result.restless, 'sweep')} of the supply"
        if result.restless
        else f"takes hold again only {_volts(gap)} above where it lets go"
    )
    return Finding(
        rule="bench-chatters",
        severity="caution",
        subject=result.controller,
        message=f"{result.controller} {seen}. Turn the supply more slowly, with short thick leads, and test it again. If it stays so, end a run at "
        "the first stutter: each time it lets go the pack comes up a little and is driven on.",
        why="A pack comes up by more than a tenth of a volt when its motor stops, so a controller that takes hold again within that stutters at "
        "the threshold instead of stopping (from memory). A long thin lead to the supply does the same on the bench.",
        at=result.tested_at,
    )


def runs_again(evidence: BenchEvidence) -> Iterator[Finding]:
    """Yield a finding for each kind of pack that comes up by itself to where it runs again, with no more than its reserve left."""
    restart = evidence.result.restart_v
    for group in _groups(evidence):
        cell_v = _cell_v(evidence, restart, group)
        rested_v = float(curve(group.chemistry).voltage(group.chemistry["reserve_soc"]))
        if cell_v is None or cell_v.value >= rested_v:
            continue
        yield Finding(
            rule="bench-runs-again",
            severity="note",
            subject=evidence.result.controller,
            message=f"{evidence.result.controller} takes hold again at {_volts(restart)}, {_volts(cell_v)} a cell. {wording.listed(group.names)} "
            f"come{'s' if len(group.names) == 1 else ''} back to about {wording.volts(rested_v)} a cell by resting with only the reserve left, so "
            "the model will run again after it has let go, and the pack goes deeper each time. End the run the first time it lets go.",
            why="A cell comes up when the load is taken off. The voltage is the chemistry's rested one at its reserve.",
            source=f"the curves of {group.chemistry.title} in tracker/chemistries/{group.chemistry.key}.toml, each with its source",
            at=evidence.result.tested_at,
        )


def latches(evidence: BenchEvidence) -> Finding | None:
    """It stays off until it is unplugged."""
    result = evidence.result
    if not result.latches or result.stayed_off_v is None:
        return None
    return Finding(
        rule="bench-latches",
        severity="note",
        subject=result.controller,
        message=f"{result.controller} stayed off up to {wording.volts(result.stayed_off_v)} once it had let go. That keeps the driver from going "
        "deeper, and leaves the model where it is: end the run while it can still come back. Unplug the pack afterwards; what is still "
        "plugged in goes on emptying it.",
        why="Common practice.",
        at=result.tested_at,
    )


def loosely_known(evidence: BenchEvidence) -> Finding | None:
    """Few repeats or coarse steps."""
    result, trip = evidence.result, evidence.result.trip_v
    if not isinstance(trip, Estimate):
        return None
    few, loose = result.trips < FEWEST_TRIPS, trip.high - trip.value > LOOSE_V
    if not few and not loose:
        return None
    seen = f"was seen to let go {_times(result.trips, 'time')}" if few else f"is known to let go at {_volts(trip)} and no better"
    advice = "Turn the supply in finer steps near the threshold" if loose else "Turn the supply down and up"
    return Finding(
        rule="bench-loosely-known",
        severity="note",
        subject=result.controller,
        message=f"{result.controller} {seen}. {advice}, five times over, and test it again.",
        why="From fewer than three trips nothing is known of how much they scatter, and a threshold is known no better than the steps it was "
        "approached in.",
        source="JCGM 100:2008, clauses 4.2 and F.2.2.1",
        at=result.tested_at,
    )


def _groups(evidence: BenchEvidence) -> list[_Group]:
    """The packs, alike ones together."""
    in_order = sorted(evidence.packs, key=lambda entry: (entry[0].chemistry, entry[0].series, entry[0].name))
    alike = groupby(in_order, key=lambda entry: (entry[0].chemistry, entry[0].series))
    groups = []
    for (_, series), entries in alike:
        listed = list(entries)
        groups.append(_Group(listed[0][1], series, tuple(pack.name for pack, _ in listed)))
    return groups


def _cell_v(evidence: BenchEvidence, of: Quantity, group: _Group) -> Estimate | None:
    """A voltage of the supply as one of a cell: of the cells the controller counted, or of those in the pack."""
    if not isinstance(of, Estimate):
        return None
    controller, trip, cells = evidence.controller, evidence.result.trip_v, group.series
    if controller is not None and controller.cutoff_mode == "cell_v":
        if controller.cutoff_v is None or not isinstance(trip, Estimate):
            return None
        cells = _counted_cells(trip, controller.cutoff_v)
    return Estimate(value=of.value / cells, low=of.low / cells, high=of.high / cells, sd=of.sd / cells)


def _counted_cells(trip: Estimate, cutoff_v: float) -> int:
    """As many cells as a controller set in volts a cell must have counted on the bench."""
    return max(round(trip.value / cutoff_v), 1)


def _together(one: Estimate, other: Estimate) -> float:
    """How far two estimates may lie apart by chance, and no less than a setting's own step."""
    return max(hypot(one.high - one.value, other.high - other.value), OFF_SETTING_V)


def _volts(quantity: Quantity) -> str:
    if not isinstance(quantity, Estimate):
        return "an unknown voltage"
    return f"{quantity.value:.2f} ± {(quantity.high - quantity.low) / 2:.2f} V"


def _setting(cutoff_v: float, set_v: float) -> str:
    return wording.volts(set_v) if set_v == cutoff_v else f"{wording.volts(cutoff_v)} a cell, {wording.volts(set_v)} in all"


def _times(count: int, what: str) -> str:
    return f"one {what}" if count == 1 else f"{count} {what}s"
