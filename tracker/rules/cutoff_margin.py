"""Controllers that let go too late for the pack they run on, or never."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tracker.domain.controller import Controller
from tracker.domain.results import Finding
from tracker.rules import wording
from tracker.rules.evidence import RunEvidence

_TOLERANCE_V = 0.005
"""Settings are written to a hundredth of a volt."""
MUCH_TOO_LOW = 0.9
"""Below this part of the floor a lithium pack is hardly protected at all: 2.5 V a cell, as set for nickel, against 3.0 V. Common practice."""


@dataclass(frozen=True, slots=True)
class Trip:
    """Where one controller lets go; `cell_v` is None when it never does."""

    controller: str
    named: bool
    cell_v: float | None
    pack_v: float | None = None
    """Of the whole pack, where that is what was set."""


def trips(evidence: RunEvidence) -> list[Trip]:
    """Return where each controller let go: as driven where that was written down, otherwise as it stands."""
    driven, controllers = evidence.run.cutoff_v, evidence.controllers
    if not driven:
        return [_trip(evidence, controller, controller.name, None) for controller in controllers]
    if len(driven) == len(controllers):
        return [_trip(evidence, controller, controller.name, value) for controller, value in zip(controllers, driven, strict=True)]
    return [_trip(evidence, None, f"Controller {number}", value) for number, value in enumerate(driven, start=1)]


def cutoff_under_floor(evidence: RunEvidence) -> Iterator[Finding]:
    """Yield a finding for each controller that lets go only below the floor of the cells."""
    floor = evidence.chemistry["floor_v"]
    known = trips(evidence)
    for trip in known:
        if trip.cell_v is None or trip.cell_v >= floor - _TOLERANCE_V:
            continue
        lithium = evidence.chemistry.family == "lithium"
        like_nickel = lithium and trip.cell_v < MUCH_TOO_LOW * floor
        yield Finding(
            rule="cutoff-under-floor",
            severity="stop" if like_nickel else "caution",
            subject=trip.controller if trip.named else evidence.pack.name,
            message=_under_floor_words(evidence, trip, trip.cell_v, like_nickel, len(known)),
            why="A controller that lets go below the floor does not protect the cells, and the weakest cell is always lower than the mean "
            "it watches. Common practice: a two-cell controller set for nickel lets go just over 5.0 V, 2.5 V a cell; one set for "
            f"lithium at 6.4 to 6.5 V. {wording.standing_of(evidence.chemistry, 'floor_v')}",
            source=wording.source_of(evidence.chemistry, "floor_v"),
            at=evidence.run.started_at,
        )


def no_cutoff(evidence: RunEvidence) -> Iterator[Finding]:
    """Yield a finding for each controller that never lets go, unless an alarm ended the run."""
    if evidence.run.ended_by == "alarm":
        return
    for trip in trips(evidence):
        if trip.cell_v is None:
            yield Finding(
                rule="no-cutoff",
                severity="caution",
                subject=trip.controller,
                message=f"{trip.controller} has no cutoff, and no alarm ended the run: nothing but the driver kept {evidence.pack.name} from "
                "going too deep. Set a cutoff, or fit a cell alarm and end the run when it sounds.",
                why="The pack goes on being discharged until the last controller lets go. Common practice.",
                at=evidence.run.started_at,
            )


def _trip(evidence: RunEvidence, controller: Controller | None, name: str, driven: float | None) -> Trip:
    value = driven if driven is not None else (controller.cutoff_v if controller else None)
    mode = controller.cutoff_mode if controller else "none"
    named = controller is not None
    if value is None or (mode == "none" and driven is None):
        return Trip(name, named, None)
    if mode == "none":
        mode = _likely_mode(evidence, value)
    if mode == "cell_v":
        return Trip(name, named, value)
    return Trip(name, named, value / evidence.pack.series, value)


def _likely_mode(evidence: RunEvidence, value: float) -> str:
    """Of a setting nobody said the kind of: one no higher than a full cell can only be meant for one cell."""
    return "cell_v" if value <= evidence.chemistry["full_v"] else "pack_v"


def _family(evidence: RunEvidence) -> str:
    """The chemistry inside a sentence, without its full voltage."""
    title = evidence.chemistry.title.partition(",")[0]
    return title[:1].lower() + title[1:]


def _under_floor_words(evidence: RunEvidence, trip: Trip, cell_v: float, like_nickel: bool, controllers: int) -> str:
    pack, floor = evidence.pack, evidence.chemistry["floor_v"]
    whole = "" if trip.pack_v is None else f"{wording.volts(trip.pack_v)} for the pack, "
    sort = f"That is a setting for nickel packs, and {pack.name} is {_family(evidence)}. " if like_nickel else ""
    first = "Do not run the pack on it as it is: set" if like_nickel else "Set"
    several = (
        " The lowest of the cutoffs decides: the pack goes on being discharged until the last controller lets go."
        if controllers > 1
        else ""
    )
    return (
        f"{trip.controller} lets go at {whole}{wording.volts(cell_v)} a cell; the floor is {wording.volts(floor)}. {sort}"
        f"{first} or move its cutoff to at least {wording.volts(floor)} a cell, {wording.volts(floor * pack.series)} for this pack, "
        f"and leave some margin above that.{several}"
    )
