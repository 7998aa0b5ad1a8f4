"""Where a controller should let go: what was asked, what each cutoff risks and leaves, and what the present ones do."""

from __future__ import annotations

from dataclasses import dataclass, field

from tracker.domain.results import Finding, Quantity


@dataclass(frozen=True, kw_only=True, slots=True)
class CutoffTask:
    """What a cutoff is wanted for."""

    pack: str
    vehicle: str
    risk: float = 0.01
    """Wanted chance that any cell goes below its floor in a run."""
    pack_k: float = 298.15
    mean_a: float | None = None
    burst_a: float | None = None
    """What the model draws, where it is to be something else than what its runs show."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PlannedLoad:
    """What the model draws."""

    mean_a: Quantity
    burst_a: Quantity
    basis: str
    """Where it comes from, in words."""
    guessed: bool
    """Whether nothing shows it, so that it was guessed from the pack's size."""
    shape_s: tuple[float, ...] = ()
    shape_of_mean: tuple[float, ...] = ()
    """How the current went up and down in a recording: stretches, and their current over the mean; empty without one."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CutoffPoint:
    """What one cutoff would come to."""

    pack_v: float
    below_floor_probability: float
    usable_ah: float
    run_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class CutoffChoice:
    """The cutoff that is advised."""

    pack_v: float
    cell_v: float
    """The same over the number of cells."""
    below_floor_probability: float
    usable_ah: Quantity
    run_s: Quantity


@dataclass(frozen=True, kw_only=True, slots=True)
class PresentCutoff:
    """What one of the model's controllers does as it stands."""

    controller: str
    trip_v: Quantity
    """Of the pack."""
    tested: bool
    """Whether the trip is from a bench test; else from the setting."""
    protects: bool
    """Whether it keeps the risk as low as wanted if the pack is run until it lets go."""
    below_floor_probability: float
    verdict: str


@dataclass(frozen=True, kw_only=True, slots=True)
class PresentState:
    """All controllers of the model together as they stand."""

    below_floor_probability: float
    """If the driver stops when the first lets go and drives on with what still runs until the last does."""
    driven_on_probability: float
    """The same if the driver goes on whenever the pack has come back."""
    after_first_ah: Quantity
    """Charge taken after the first controller let go, by a driver who goes on."""
    hours_to_floor: Quantity
    """Until the first cell comes to its floor when the pack is left plugged in."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CutoffPlan:
    """Where the controllers of a model should let go on a pack."""

    task: CutoffTask
    series: int
    full_v: float
    """Of a cell, as `floor_v`."""
    floor_v: float
    reserve_soc: float
    learned: bool
    """Whether the pack's own history went into it, or only what is typical of its chemistry."""
    load: PlannedLoad
    recommended: CutoffChoice | None
    """None where no cutoff keeps the risk as low as wanted."""
    reason: str
    timer_s: Quantity
    """Run time that leaves the reserve in the weakest cell, nine times in ten."""
    present: tuple[PresentCutoff, ...]
    together: PresentState | None
    """None for a model without controllers, and where it is not known yet."""
    curve: tuple[CutoffPoint, ...]
    draws: int
    whole: bool = True
    """Whether what the controllers do together is in it; it takes as long again as all the rest, and changes nothing of it."""
    findings: tuple[Finding, ...] = field(default=())
