"""Packs of published cells, simulated by a physics-based library, driven down to the advised cutoff: is the promise kept?

Independent of the planner: its cells, curves and currents are the library's; only the floor and the advised cutoff are taken
from it. Loads, temperatures, spread between cells and trips are drawn as the plan says they are.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from tests.tracker.estimators.cell_tables import CellTable, table
from tests.tracker.estimators.driven_down import Drive, lowest_cell_v
from tests.tracker.estimators.planned_packs import CAPACITY_AH, advised_v, load_of, pack_of, planned, setup_for
from tests.tracker.estimators.simulated_packs import LABEL_SD, Habits, history
from tracker.domain.planning import CutoffPlan
from tracker.domain.results import Estimate
from tracker.estimators.assess import assess_packs
from tracker.estimators.cutoff import TRIP_SD_V
from tracker.estimators.drawn_packs import MATCHED_SD

pytestmark = pytest.mark.long

MAKES = ("Chen2020", "NCA_Kim2011", "Mohtat2020", "Ai2020", "Ecker2015")
LEARNED_MAKES = ("Chen2020", "NCA_Kim2011", "Mohtat2020", "Ai2020")
SERIES, BURST, LOAD_SD = 3, 1.5, 0.1
GENTLE_SHARE, GENTLE_BURST = 0.6, 1.2
"""Pottering about: of the gentlest current the make is driven at, the gentlest the tables hold. A cutoff stays set for that as well."""
WANTED = 0.01
CASES = ((0.15, 25.0), (0.5, 12.0), (0.7, 25.0))
"""How hard, between the gentlest and the hardest the make is driven, and how warm."""
PACKS = 21
RUNS, GROWTH = 12, 0.001


def driven(
    cells: CellTable,
    plan: CutoffPlan,
    trip_v: float,
    capacity_ah: np.ndarray,
    worse: float,
    chance: np.random.Generator,
    *,
    gently: bool = False,
) -> bool:
    """Whether a cell of one pack, driven once to a cutoff as planned or gently and warm, went below the floor."""
    assert isinstance(plan.load.mean_a, Estimate)
    usual_a = GENTLE_SHARE * cells.cell.gentlest_c * float(capacity_ah.mean()) if gently else plan.load.mean_a.value
    mean_a = usual_a * (1.0 + LOAD_SD * (abs(chance.normal()) if gently else chance.normal()))
    burst_a = max(mean_a, (GENTLE_BURST if gently else BURST) * mean_a * (1.0 + LOAD_SD * chance.normal()))
    drive = Drive(
        capacity_ah=capacity_ah,
        mean_a=mean_a,
        burst_a=burst_a,
        pack_k=298.15 if gently else plan.task.pack_k,
        trip_v=trip_v + TRIP_SD_V * chance.normal(),
        worse=worse,
    )
    return lowest_cell_v(cells, drive, chance) < plan.floor_v


def most_allowed(drives: int) -> int:
    """So many of the drives may go below without there being a doubt of the wanted risk."""
    return int(binom.ppf(0.99, drives, WANTED))


def c_rate_of(cells: CellTable, share: float) -> float:
    return float(cells.cell.gentlest_c * (cells.cell.hardest_c / cells.cell.gentlest_c) ** share)


@pytest.mark.parametrize("make", MAKES)
def test_packs_of_which_only_the_label_is_known(make: str) -> None:
    """63 packs of each of five makes: cells and label differ from pack to pack, and no pack is driven twice."""
    cells = table(make)
    chance = np.random.default_rng([41, *make.encode()])
    below = below_at_floor = count = 0
    for share, pack_c in CASES:
        pack = pack_of(cells.cell.chemistry, SERIES)
        plan = planned(setup_for(pack, load=load_of(pack, c_rate_of(cells, share), BURST)), risk=WANTED, pack_c=pack_c)
        assert plan.recommended is not None
        for _ in range(PACKS):
            capacity_ah = CAPACITY_AH * (1.0 + LABEL_SD * chance.normal()) * (1.0 + MATCHED_SD * chance.normal(size=SERIES))
            below += driven(cells, plan, plan.recommended.pack_v, capacity_ah, 1.0, chance)
            below_at_floor += driven(cells, plan, plan.floor_v * SERIES, capacity_ah, 1.0, chance)
            count += 1
    assert below <= most_allowed(count)
    assert below_at_floor > 0.8 * count  # else this could not have failed


@pytest.mark.parametrize("weak", [False, True], ids=["ordinary", "weak cell"])
@pytest.mark.parametrize("make", LEARNED_MAKES)
def test_packs_learned_from_a_counted_history(make: str, weak: bool) -> None:
    """Four packs of each make, with and without a weak cell, assessed and then driven down as planned and gently."""
    cells = table(make)
    chance = np.random.default_rng([42, weak, *make.encode()])
    packs = [history(make, 900 + number, Habits(cells=SERIES, runs=RUNS, weak_cell=weak, growth_per_run=GROWTH)) for number in range(4)]
    assessed = assess_packs([pack.history for pack in packs], {}, {})
    below = count = 0
    used: list[float] = []
    for truth, found in zip(packs, assessed, strict=True):
        pack = truth.history.pack
        load = load_of(pack, c_rate_of(cells, chance.random()), BURST)
        plan = planned(setup_for(pack, load=load, states=found.learned.states()), risk=WANTED, pack_c=float(chance.uniform(10.0, 35.0)))
        assert plan.recommended is not None
        assert isinstance(plan.recommended.usable_ah, Estimate)
        used.append(plan.recommended.usable_ah.value / min(truth.capacity_ah))
        for number in range(16):
            capacity_ah = np.array(truth.capacity_ah)
            below += driven(cells, plan, advised_v(plan), capacity_ah, 1.0 + GROWTH * RUNS, chance, gently=number % 2 == 1)
            count += 1
    assert below <= most_allowed(count)
    assert np.mean(used) > 0.6  # safe, and still of use
