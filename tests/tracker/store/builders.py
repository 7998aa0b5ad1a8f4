"""Records to store: ordinary ones with what a test cares for, and full ones in which every field says something."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.logbook import Logbook
from tracker.domain.pack import Pack
from tracker.domain.results import CellDepth, Estimate, EvidenceVote, Finding, NotEnough, RunEstimate
from tracker.domain.session import BenchReading, BenchTest, Charge, Run
from tracker.store.records import Records

START = datetime(2024, 5, 4, 9, 30, 15, 123456, tzinfo=UTC)


def at(hours: float) -> datetime:
    return START + timedelta(hours=hours)


def pack(name: str = "Tug 1", **changes: Any) -> Pack:
    values: dict[str, Any] = {"name": name, "chemistry": "lipo", "series": 3, "capacity_ah": 5.0}
    return Pack(**values | changes)


def run(name: str = "Tug 1", hours: float = 0.0, **changes: Any) -> Run:
    values: dict[str, Any] = {"pack": name, "started_at": at(hours), "run_s": 600.0}
    return Run(**values | changes)


def charge(name: str = "Tug 1", hours: float = 2.0, **changes: Any) -> Charge:
    values: dict[str, Any] = {"pack": name, "finished_at": at(hours)}
    return Charge(**values | changes)


FULL_PACK = Pack(
    name="Tug 1",
    chemistry="lihv",
    series=3,
    parallel=2,
    capacity_ah=4.2,
    continuous_c=25.0,
    acquired_on=date(2022, 2, 28),
    retired_on=date(2024, 2, 29),
    notes="puffed; °µ\n\"quoted\" 'too' 電池",
)
FULL_CONTROLLER = Controller(
    name="port", cutoff_mode="pack_v", cutoff_v=6.4, restart_v=6.9, load_share=0.5, powers_receiver=False, notes="the older one"
)
FULL_VEHICLE = Vehicle(name="Groomer", controllers=("starboard", "port"), lead_ohm=0.004, usual_a=12.5, notes="two motors")
FULL_RUN = Run(
    pack="Tug 1",
    started_at=START,
    run_s=754.25,
    vehicle="Groomer",
    rest_before_s=3600.0,
    before_v=(4.18, 4.17, 4.19),
    loaded_v=(10.2,),
    loaded_a=18.5,
    mean_a=9.75,
    used_ah=2.125,
    after_v=(3.71, 3.7, 3.69),
    rest_after_s=900.0,
    cutoff_v=(6.4, 6.5),
    pack_k=276.15,
    ended_by="cutoff",
    notes="stopped dead on the far bank",
)
FULL_CHARGE = Charge(
    pack="Tug 1",
    finished_at=at(3),
    put_back_ah=2.2,
    end_v=(4.2, 4.19, 4.2),
    goal="full",
    cell_ohm=(0.0041, 0.0043, 0.0059),
    pack_k=294.15,
    notes="slow",
)
FULL_BENCH = BenchTest(
    controller="port",
    tested_at=at(-100),
    readings=(BenchReading(supply_v=6.5, running=True), BenchReading(supply_v=6.4, running=False)),
)
FULL_LOGBOOK = Logbook(
    packs=(FULL_PACK,),
    vehicles=(FULL_VEHICLE,),
    controllers=(FULL_CONTROLLER, Controller(name="starboard", cutoff_mode="none")),
    runs=(FULL_RUN,),
    charges=(FULL_CHARGE,),
    bench_tests=(FULL_BENCH,),
)

FINDING = Finding(
    rule="driven_deep",
    severity="stop",
    subject="Tug 1",
    message="Cell 2 was driven below its floor.",
    why="A cell driven so far loses capacity.",
    source="Someone, Something, 2019",
    at=START,
)
BARE_FINDING = Finding(rule="spread", severity="note", subject="Tug 1", message="Cells differ.", why="They age.")


def quantity(value: float) -> Estimate:
    return Estimate(value=value, low=value - 0.1, high=value + 0.1, sd=0.06)


def estimate(model: str = "model 1", grade: str | None = "fine", **changes: Any) -> RunEstimate:
    cell = CellDepth(
        cell=2,
        soc_before=quantity(0.97),
        soc_after=quantity(1 / 3),
        lowest_loaded_v=NotEnough("no reading under load"),
        below_floor_probability=0.02,
        below_reserve_probability=0.04,
        below_half_reserve_probability=None,
        grade=grade,
    )
    vote = EvidenceVote(kind="charger", used_ah=quantity(2.1), weight=1.0, disagrees=True, words="2200 mAh put back")
    values: dict[str, Any] = {
        "model": model,
        "used_ah": quantity(2.2),
        "evidence": (vote,),
        "cells": (cell,),
        "findings": (FINDING, BARE_FINDING),
    }
    return RunEstimate(**values | changes)


def fill(records: Records, packs: tuple[str, ...] = ("Tug 1",), runs: int = 0) -> None:
    """Store packs with so many runs each, an hour apart."""
    for name in packs:
        records.put_pack(pack(name))
    records.add_runs(run(name, hours) for name in packs for hours in range(runs))


def put_logbook(records: Records, logbook: Logbook) -> None:
    """Store everything a logbook holds."""
    for pack in logbook.packs:
        records.put_pack(pack)
    for controller in logbook.controllers:
        records.put_controller(controller)
    for vehicle in logbook.vehicles:
        records.put_vehicle(vehicle)
    records.add_runs(logbook.runs)
    records.add_charges(logbook.charges)
    records.add_bench_tests(logbook.bench_tests)
