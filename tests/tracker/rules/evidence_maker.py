"""Evidence for the rules' tests: an ordinary day, of which each test changes one thing."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

from tracker.chemistry import load
from tracker.domain.controller import Controller
from tracker.domain.health import CellHealth, Outlook, PackHealth
from tracker.domain.pack import Pack
from tracker.domain.results import AssessedRun, CellDepth, Estimate, Finding, NotEnough, RunEstimate
from tracker.domain.session import Charge, Run
from tracker.rules.evidence import ChargeEvidence, PackEvidence, RunEvidence

NOON = datetime(2025, 7, 5, 12, 0, tzinfo=UTC)
UNTOLD = NotEnough("nothing was read")


def pack(chemistry: str = "lipo", series: int = 2, **changes: Any) -> Pack:
    return Pack(**{"name": "Tug 1", "chemistry": chemistry, "series": series, "capacity_ah": 5.0, **changes})


def sure(value: float, sd: float = 0.01) -> Estimate:
    return Estimate(value=value, low=value - 1.645 * sd, high=value + 1.645 * sd, sd=sd)


def cell(
    number: int = 1, grade: str | None = "fine", left: float | None = 0.5, loaded_v: float | None = 3.5, under: float | None = 0.0
) -> CellDepth:
    return CellDepth(
        cell=number,
        soc_before=sure(1.0),
        soc_after=UNTOLD if left is None else sure(left),
        lowest_loaded_v=UNTOLD if loaded_v is None else sure(loaded_v),
        below_floor_probability=under,
        below_reserve_probability=0.0,
        below_half_reserve_probability=0.0,
        grade=grade,
    )


def estimate(*cells: CellDepth, evidence: tuple[Any, ...] = ()) -> RunEstimate:
    return RunEstimate(model="1", used_ah=sure(2.5), evidence=evidence, cells=cells or (cell(1), cell(2)))


def run(started_at: datetime = NOON, **changes: Any) -> Run:
    return Run(**{"pack": "Tug 1", "started_at": started_at, "run_s": 900.0, **changes})


def assessed(started_at: datetime = NOON, *cells: CellDepth, **changes: Any) -> AssessedRun:
    return AssessedRun(run=run(started_at, **changes), estimate=estimate(*cells))


def charge(finished_at: datetime = NOON, **changes: Any) -> Charge:
    return Charge(**{"pack": "Tug 1", "finished_at": finished_at, "goal": "full", **changes})


def controller(cutoff_v: float | None, mode: str = "pack_v", name: str = "Tug motor") -> Controller:
    return Controller(name=name, cutoff_mode=mode, cutoff_v=cutoff_v)


def of_run(
    of: Pack | None = None,
    told: RunEstimate | None = None,
    controllers: tuple[Controller, ...] = (),
    before: Charge | None = None,
    **changes: Any,
) -> RunEvidence:
    which = of or pack()
    return RunEvidence(
        pack=which,
        chemistry=load(which.chemistry),
        run=run(**changes),
        estimate=told or estimate(),
        controllers=controllers,
        charge_before=before,
    )


def of_charge(of: Pack | None = None, rested_before_v: tuple[float, ...] = (), **changes: Any) -> ChargeEvidence:
    which = of or pack()
    return ChargeEvidence(pack=which, chemistry=load(which.chemistry), charge=charge(**changes), rested_before_v=rested_before_v)


def of_pack(
    runs: tuple[AssessedRun, ...] = (),
    charges: tuple[Charge, ...] = (),
    days_later: float | None = None,
    of: Pack | None = None,
    learned: PackHealth | None = None,
) -> PackEvidence:
    which = of or pack()
    now = None if days_later is None else NOON + timedelta(days=days_later)
    return PackEvidence(pack=which, chemistry=load(which.chemistry), runs=runs, charges=charges, now=now, health=learned)


def health(of: Pack | None = None, growth: Any = UNTOLD, excess: Any = UNTOLD, **changes: Any) -> PackHealth:
    """What the history of an ordinary pack teaches: it holds 95 % of what is written on it, and its cells are alike."""
    which = of or pack()
    cells = tuple(
        CellHealth(cell=number, capacity_ah=sure(4.75, 0.05), resistance_ohm=sure(0.004, 0.0002), excess_loss_per_month=excess)
        for number in range(1, which.series + 1)
    )
    outlook = Outlook(
        full_cycles=40.0,
        weighted_cycles=30.0,
        fade_per_100_cycles=UNTOLD,
        runs_left=UNTOLD,
        resistance_growth=growth,
        sentence="Too early to say.",
    )
    given = {
        "pack": which.name,
        "chemistry": which.chemistry,
        "rated_ah": which.capacity_ah,
        "runs": 60,
        "deep_runs": 0,
        "capacity_ah": sure(4.75, 0.05),
        "health": sure(0.95, 0.01),
        "cells": cells,
        "weakest_cell": None,
        "weakest_ratio": UNTOLD,
        "restless_cells": (),
        "outlook": outlook,
        "next": "",
    }
    return PackHealth(**{**given, **changes})


def findings_of(rule: Callable[[Any], Any], evidence: Any) -> list[Finding]:
    answer = rule(evidence)
    if answer is None:
        return []
    return [answer] if isinstance(answer, Finding) else list(answer)


def only(rule: Callable[[Any], Any], evidence: Any) -> Finding:
    found = findings_of(rule, evidence)
    assert len(found) == 1, found
    return found[0]
