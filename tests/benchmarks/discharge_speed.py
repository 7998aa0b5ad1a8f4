"""How long it takes to run 2,000 packs of three cells for 30 minutes at 1 s, and how that compares with an independent package.

Run with: python -m tests.benchmarks.discharge_speed
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from time import perf_counter

import numpy as np
from numpy.typing import NDArray

from tests.tracker.physics.independent_circuit import course
from tests.tracker.physics.made_up_cells import PAIR_S, rested_v, rise
from tests.tracker.physics.made_up_packs import drawn_packs
from tracker.physics.cell_circuit import CellKind, Heating, cell_tables
from tracker.physics.cutoff_sweep import cutoff_sweep
from tracker.physics.load_profile import steady_and_bursts
from tracker.physics.pack_discharge import Driver, discharge
from tracker.physics.pack_draws import ControllerDraws, PackDraws

PACKS, SERIES, RUN_S = 2000, 3, 1800.0
LOAD = steady_and_bursts(5.0, 20.0, 2.0, 10.0)
ONE = ControllerDraws(mode="pack_v", trip_v=9.0, powers_receiver=True)
TWO = (
    ControllerDraws(mode="pack_v", trip_v=10.4, restart_v=10.8, load_share=0.5, powers_receiver=True),
    ControllerDraws(mode="pack_v", trip_v=9.0, restart_v=9.6, load_share=0.5),
)
TIMES = 3


def main() -> None:
    """Measure and print."""
    pack = drawn_packs(PACKS, SERIES)
    warming = replace(pack, heating=Heating(110.0, 0.15, 298.15))
    print(f"{PACKS:,} packs of {SERIES} cells, {RUN_S / 60.0:.0f} min at 1 s, best of {TIMES}:")
    ours_s = timed("one controller", lambda: discharge(pack, [ONE], LOAD, end_s=RUN_S, receiver_a=0.3))
    timed("two controllers with restarts", lambda: discharge(pack, TWO, LOAD, end_s=RUN_S, receiver_a=0.3, driver=Driver(3)))
    timed("61 cutoffs in one run of whole periods", lambda: cutoff_sweep(pack, ONE, LOAD, np.linspace(7.5, 10.5, 61), receiver_a=0.3))
    timed("one controller, a voltage curve for each pack", lambda: discharge(_own_curves(pack), [ONE], LOAD, end_s=RUN_S, receiver_a=0.3))
    timed("one controller, cells that warm", lambda: discharge(warming, [ONE], LOAD, end_s=RUN_S, receiver_a=0.3))
    stretches = [(float(seconds), float(amperes)) for seconds, amperes in LOAD.steps(100.0, RUN_S)]
    package_s = timed("independent package at its own accuracy, one cell of the same", lambda: course(stretches, 1.0, 298.15))
    per_cell_s = ours_s / (PACKS * SERIES)
    print(f"a cell: {1e6 * per_cell_s:.0f} us here, {package_s:.2f} s there, {package_s / per_cell_s:,.0f} times as long")


def timed(what: str, action: Callable[[], object]) -> float:
    """Shortest time of several tries."""
    times = []
    for _ in range(TIMES):
        start = perf_counter()
        action()
        times.append(perf_counter() - start)
    print(f"  {what}: {min(times):.2f} s")
    return min(times)


def _own_curves(pack: PackDraws) -> PackDraws:
    shifts = 0.02 * np.random.default_rng(5).standard_normal((PACKS, 1))

    def curves(soc: NDArray[np.float64]) -> NDArray[np.float64]:
        return rested_v(np.clip(soc + shifts, -0.05, 1.05))

    return replace(pack, kind=CellKind(cell_tables(curves, rise, (rise, None), points=551), PAIR_S, 30e3, (30e3, 15e3), (0.0, 15e3)))


if __name__ == "__main__":
    main()
