"""Controllers, models and plans of the invented club behind the same methods as the real services, all in memory."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

from tracker.domain.bench import BenchResult
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.divider import DividerPlan, DividerTask
from tracker.domain.pack import Pack
from tracker.domain.planning import CutoffChoice, CutoffPlan, CutoffPoint, CutoffTask, PlannedLoad, PresentCutoff, PresentState
from tracker.domain.results import Estimate, Finding, NotEnough, Quantity
from tracker.domain.session import BenchReading, BenchTest
from tracker.errors import NotFoundError
from tracker.estimators.bench import judge_bench
from tracker.services.benching import checked
from tracker.services.planning import move_trip_point

HOSTILE = "<script>alert(1)</script> \"&'/"
LONG = "Controller-with-a-very-long-name-and-no-break-" * 2
AT = datetime(2025, 8, 3, 9, tzinfo=UTC)


def guess(value: float, half: float, least: float = 0.0, most: float = math.inf) -> Estimate:
    """An estimate with a symmetric interval, cut where it would leave what is possible."""
    return Estimate(value=value, low=max(value - half, least), high=min(value + half, most), sd=half / 1.645)


def bench_test(controller: str, *steps: tuple[float, bool], at: datetime = AT) -> BenchTest:
    """A test of these supply voltages, and whether it ran."""
    return BenchTest(
        controller=controller, tested_at=at, readings=tuple(BenchReading(supply_v=volts, running=runs) for volts, runs in steps)
    )


class FakeControllers:
    """Controllers and models as the pages ask for them; what is logged stays."""

    def __init__(self, controllers: Sequence[Controller], vehicles: Sequence[Vehicle], tests: Sequence[BenchTest]) -> None:
        self._controllers, self._vehicles, self.stored = tuple(controllers), tuple(vehicles), list(tests)

    def all(self) -> tuple[Controller, ...]:
        return self._controllers

    def vehicles(self) -> tuple[Vehicle, ...]:
        return self._vehicles

    def bench(self) -> tuple[BenchResult, ...]:
        names = sorted({test.controller for test in self.stored})
        return tuple(judge_bench([test for test in self.stored if test.controller == name]) for name in names)

    def tests(self, name: str) -> tuple[BenchTest, ...]:
        return tuple(test for test in self.stored if test.controller == name)

    def preview_bench(self, test: BenchTest) -> BenchResult:
        checked(test)
        return judge_bench([test])

    def log_bench(self, test: BenchTest) -> BenchResult:
        checked(test)
        if test.controller not in {controller.name for controller in self._controllers}:
            raise NotFoundError(f"controller '{test.controller}' is not known; name one that is.")
        self.stored.append(test)
        return judge_bench([one for one in self.stored if one.controller == test.controller])


class FakePlanning:
    """Plans made up from nothing but the cells in series; trip points as they really move."""

    def __init__(self, packs: Sequence[Pack], controllers: FakeControllers) -> None:
        self._packs = {pack.name: pack for pack in packs}
        self._controllers = controllers

    def warm_up(self) -> None:
        pass

    def cutoff(self, task: CutoffTask) -> CutoffPlan:
        if task.pack not in self._packs:
            raise NotFoundError(f"pack '{task.pack}' is not known; name one that is.")
        carried = {vehicle.name: vehicle.controllers for vehicle in self._controllers.vehicles()}
        if task.vehicle not in carried:
            raise NotFoundError(f"vehicle '{task.vehicle}' is not known; name one that is.")
        controllers = [one for one in self._controllers.all() if one.name in carried[task.vehicle]]
        return made_plan(task, self._packs[task.pack].series, controllers)

    def cutoff_at_once(self, task: CutoffTask) -> CutoffPlan:
        return replace(self.cutoff(task), whole=False, together=None)

    def divider(self, task: DividerTask) -> DividerPlan:
        return move_trip_point(task)


def made_plan(task: CutoffTask, series: int, controllers: Sequence[Controller], *, safe: bool = True) -> CutoffPlan:
    """A plan whose risk falls tenfold with every 0.06 V a cell above 3.1 V, and whose run time falls with it."""
    cells = [2.6 + 0.05 * step for step in range(27)]
    curve = tuple(
        CutoffPoint(pack_v=cell * series, below_floor_probability=risk_at(cell), usable_ah=3.9 - cell, run_s=1500 * (3.9 - cell))
        for cell in cells
    )
    chosen = next((point for point in curve if point.below_floor_probability <= task.risk), None) if safe else None
    recommended = None if chosen is None else CutoffChoice(
        pack_v=chosen.pack_v, cell_v=chosen.pack_v / series, below_floor_probability=chosen.below_floor_probability,
        usable_ah=guess(chosen.usable_ah, 0.1), run_s=guess(chosen.run_s, 120),
    )  # fmt: skip
    present = tuple(made_present(one, series, task.risk, tested=place % 2 == 0) for place, one in enumerate(controllers))
    findings = tuple(
        Finding(rule="cutoff-too-close", severity="caution", subject=one.controller, message="Set it higher.", why="So.")
        for one in present
        if not one.protects
    )
    return CutoffPlan(
        task=task,
        series=series,
        full_v=4.2,
        floor_v=3.0,
        reserve_soc=0.2,
        learned=True,
        load=PlannedLoad(mean_a=guess(12.5, 2), burst_a=guess(28, 5), basis="12 runs", guessed=False),
        recommended=recommended,
        reason="The weakest cell counts. The load is taken from 12 runs.",
        timer_s=guess(640, 60),
        present=present,
        together=PresentState(
            below_floor_probability=0.31, driven_on_probability=0.52, after_first_ah=guess(0.19, 0.05), hours_to_floor=guess(21, 6)
        ) if present else None,
        curve=curve,
        draws=2048,
        findings=findings,
    )  # fmt: skip


def risk_at(cell_v: float) -> float:
    """Made up: certain at 3.1 V a cell, never seen from 3.3 V on."""
    risk = min(1.0, 10 ** ((3.1 - cell_v) / 0.06))
    return risk if risk > 0.0004 else 0.0


def made_present(one: Controller, series: int, wanted: float, *, tested: bool) -> PresentCutoff:
    """What one controller risks as it stands."""
    if one.cutoff_v is None:
        trip: Quantity = NotEnough("It has no cutoff.")
        risk = 1.0
    else:
        pack_v = one.cutoff_v * (series if one.cutoff_mode == "cell_v" else 1)
        trip, risk = guess(pack_v, 0.05), risk_at(pack_v / series)
    protects = risk <= wanted
    verdict = "High enough by itself." if protects else "Too low: run until it lets go, a cell is below its floor."
    return PresentCutoff(
        controller=one.name, trip_v=trip, tested=tested, protects=protects, below_floor_probability=risk, verdict=verdict
    )  # fmt: skip


def club_controllers() -> FakeControllers:
    """One tested and one set for nickel on the same model, one without a cutoff, and names made to break pages."""
    controllers = [
        Controller(name=HOSTILE, cutoff_mode="cell_v", cutoff_v=3.3),
        Controller(name="Left track", cutoff_mode="pack_v", cutoff_v=6.4, load_share=0.5, powers_receiver=True),
        Controller(name="Old drive", cutoff_mode="none"),
        Controller(name="Right track", cutoff_mode="pack_v", cutoff_v=5.0, restart_v=5.6, load_share=0.5, notes="meant for nickel"),
        Controller(name=LONG, cutoff_mode="pack_v", cutoff_v=6.2),
    ]
    vehicles = [
        Vehicle(name="Bare hull"),
        Vehicle(name=HOSTILE, controllers=(HOSTILE, LONG, "Old drive")),
        Vehicle(name="Snow groomer", controllers=("Left track", "Right track")),
    ]
    down = ((6.6, True), (6.5, True), (6.4, False), (6.7, False), (6.8, True), (6.5, True), (6.4, False), (6.9, True))
    return FakeControllers(controllers, vehicles, [bench_test("Left track", *down), bench_test(HOSTILE, (7.0, True), (6.5, True))])
