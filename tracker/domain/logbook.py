"""Any set of records: what files hold, what an import brings, what an export writes."""

from __future__ import annotations

from dataclasses import dataclass

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.session import BenchTest, Charge, Run


@dataclass(frozen=True, kw_only=True, slots=True)
class Logbook:
    """Records of every kind, each kind in the order they were written down."""

    packs: tuple[Pack, ...] = ()
    vehicles: tuple[Vehicle, ...] = ()
    controllers: tuple[Controller, ...] = ()
    runs: tuple[Run, ...] = ()
    charges: tuple[Charge, ...] = ()
    bench_tests: tuple[BenchTest, ...] = ()
