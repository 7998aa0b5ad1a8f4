"""What the rules look at: one run, one charge, or one pack's whole diary, with what is needed to judge it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tracker.chemistry import Chemistry
from tracker.domain.bench import BenchResult
from tracker.domain.controller import Controller
from tracker.domain.health import PackHealth
from tracker.domain.pack import Pack
from tracker.domain.results import AssessedRun, RunEstimate
from tracker.domain.session import Charge, Run, Volts


@dataclass(frozen=True, kw_only=True, slots=True)
class RunEvidence:
    """One run and what it is estimated to have taken."""

    pack: Pack
    chemistry: Chemistry
    run: Run
    estimate: RunEstimate
    controllers: tuple[Controller, ...] = ()
    """In the order of the vehicle's controllers, as they stand now."""
    charge_before: Charge | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class ChargeEvidence:
    """One charge, and how the pack rested before it."""

    pack: Pack
    chemistry: Chemistry
    charge: Charge
    rested_before_v: Volts = ()
    """Last rested reading before this charge, where there is one."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PackEvidence:
    """One pack's diary, in time order."""

    pack: Pack
    chemistry: Chemistry
    runs: tuple[AssessedRun, ...] = ()
    charges: tuple[Charge, ...] = ()
    now: datetime | None = None
    """When this is asked; without it only what is past is judged."""
    health: PackHealth | None = None
    """What its history teaches, where it was looked at."""


@dataclass(frozen=True, kw_only=True, slots=True)
class BenchEvidence:
    """What the bench shows of one controller, and what it is meant to protect."""

    result: BenchResult
    controller: Controller | None = None
    """As it is stored; None where nobody described it."""
    packs: tuple[tuple[Pack, Chemistry], ...] = ()
    """In use, and driven in a vehicle that carries it."""
    beside: tuple[BenchResult, ...] = ()
    """The other controllers of the same vehicles, as far as they were on the bench."""
