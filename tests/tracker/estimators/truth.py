"""Packs whose truth is known because they are drawn here: what a person would read off them, and what really happened."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run
from tracker.estimators.cell_family import CellFamily, family
from tracker.estimators.history import PackHistory
from tracker.estimators.knowledge import typical

START = datetime(2026, 5, 1, 9, 0, tzinfo=UTC)
GRID = np.linspace(0.0, 1.0, 101)


@dataclass(frozen=True)
class Truth:
    """What really happened in one run."""

    used_ah: float
    soc_after: NDArray[np.float64]


@dataclass(frozen=True)
class Drawn:
    """Histories as written down, and the truth by pack and start."""

    histories: list[PackHistory]
    truth: dict[tuple[str, datetime], Truth]


def draw_packs(
    chemistry: str, *, packs: int, runs: int = 6, series: int = 3, total_only: bool = False, counted: bool = True, seed: int = 3
) -> Drawn:
    """Packs of capacities and curves drawn from the spread between makes, driven and read with ordinary instruments."""
    rng = np.random.default_rng(seed)
    cells = family(chemistry)
    histories: list[PackHistory] = []
    truth: dict[tuple[str, datetime], Truth] = {}
    for number in range(packs):
        pack = Pack(name=f"{chemistry} {number}", chemistry=chemistry, series=series, capacity_ah=5.0)
        capacity_ah, own_soc = _draw_cells(pack, cells, rng)
        moment, run_list, charge_list = START, [], []
        for _ in range(runs):
            run, charge, happened = _one_run(pack, cells, capacity_ah, own_soc, moment, rng, total_only)
            run_list.append(run)
            truth[pack.name, moment] = happened
            if counted:
                charge_list.append(charge)
            moment += timedelta(days=1)
        histories.append(PackHistory(pack=pack, runs=tuple(run_list), charges=tuple(charge_list)))
    return Drawn(histories, truth)


def _draw_cells(pack: Pack, cells: CellFamily, rng: np.random.Generator) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    known = typical(pack, cells)
    mean = np.concatenate([known.log_capacity, known.deviation])
    n = pack.series
    while True:
        drawn = rng.multivariate_normal(mean, known.covariance)
        own_soc = GRID + cells.curve.shape_values(GRID) @ drawn[n:]
        if np.all(np.diff(own_soc) > 0.002):  # a cell whose voltage fell while it was charged would be no cell
            return pack.capacity_ah * np.exp(drawn[:n]), own_soc


def _one_run(
    pack: Pack, cells: CellFamily, capacity_ah: NDArray[np.float64], own_soc: NDArray[np.float64], moment: datetime,
    rng: np.random.Generator, total_only: bool,
) -> tuple[Run, Charge, Truth]:  # fmt: skip
    n = pack.series

    def rested_v(soc: NDArray[np.float64]) -> NDArray[np.float64]:
        return cells.curve.voltage(np.interp(soc, own_soc, GRID))

    def read(volts: NDArray[np.float64]) -> tuple[float, ...]:
        shown = tuple(float(v) for v in np.round(volts + rng.normal(0, 0.005, n) + rng.normal(0, 0.003), 2))
        return (round(sum(shown), 2),) if total_only else shown

    before = 1.0 - abs(rng.normal(0, 0.003)) + rng.normal(0, 0.004, n)
    current_a = float(rng.uniform(5, 25))
    used_ah = float(rng.uniform(0.3, 0.95) * capacity_ah.min())
    after = before - used_ah / capacity_ah
    rest_s = float(rng.choice([600, 1800, 3600, 7200]))
    lag = cells.relaxation.deficit(rest_s, current_a / capacity_ah, cells.curve.slope(after)) * rng.lognormal(0, 0.4)
    run_s = used_ah / current_a * 3600.0
    run = Run(
        pack=pack.name,
        started_at=moment,
        run_s=run_s,
        before_v=read(rested_v(before)),
        after_v=read(rested_v(after) - np.minimum(lag, 0.4)),
        rest_after_s=rest_s,
    )
    acceptance = rng.normal(cells.chemistry["charge_acceptance"], cells.sd_of("charge_acceptance", 0.004))
    count_ah = used_ah / acceptance * (1.0 + rng.normal(0, 0.015))
    charge = Charge(pack=pack.name, finished_at=moment + timedelta(hours=20), put_back_ah=float(count_ah), goal="full")
    return run, charge, Truth(used_ah, after)
