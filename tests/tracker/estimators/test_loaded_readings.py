"""What a voltage under load teaches of a pack's resistance, and what a rested voltage after a run says of how deep it went."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tracker.domain.pack import Pack
from tracker.domain.results import Estimate
from tracker.domain.session import Charge, Run
from tracker.estimators.assess import PackAssessment, assess_packs
from tracker.estimators.cell_family import family
from tracker.estimators.history import PackHistory

START = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
PACK = Pack(name="club", chemistry="lipo", series=3, capacity_ah=5.0)
USED_AH, RUN_S = 3.0, 600.0
TYPICAL_OHM = family("lipo").chemistry["resistance_capacity"] / PACK.capacity_ah


def driven(sag_v: float | None, runs: int = 6, loaded_a: float | None = None) -> PackAssessment:
    """Runs of 18 A on the average to 3.78 V at rest, and the lowest total this far below that for each cell."""
    run_list, charges = [], [Charge(pack="club", finished_at=START - timedelta(hours=3), goal="full")]
    for number in range(runs):
        start = START + timedelta(days=number)
        run_list.append(
            Run(
                pack="club",
                started_at=start,
                run_s=RUN_S,
                before_v=(4.2, 4.2, 4.2),
                after_v=(3.78, 3.78, 3.78),
                rest_after_s=3600.0,
                loaded_v=() if sag_v is None else (round(3 * (3.78 - sag_v), 2),),
                loaded_a=loaded_a,
                pack_k=298.15,
            )
        )
        charges.append(Charge(pack="club", finished_at=start + timedelta(hours=5), put_back_ah=USED_AH, goal="full"))
    return assess_packs([PackHistory(pack=PACK, runs=tuple(run_list), charges=tuple(charges))], {}, {})[0]


def ohms(found: PackAssessment) -> float:
    """Resistance of a cell as learned [ohm]."""
    return float(np.exp(found.learned.states().trait_mean[0, 0]))


def relative_sd(found: PackAssessment) -> float:
    """Its relative standard uncertainty."""
    return float(np.sqrt(found.learned.states().trait_variance[0, 0]))


def test_a_pack_total_without_a_current_teaches_resistance() -> None:
    """Limit: the deeper the sag, the higher the resistance; without any, the typical one stays."""
    assert ohms(driven(None)) == pytest.approx(TYPICAL_OHM, rel=1e-6)
    small, middle, large = (ohms(driven(sag_v)) for sag_v in (0.02, 0.25, 0.7))
    assert small < 0.9 * TYPICAL_OHM
    assert small < middle < large
    assert large > 2.0 * TYPICAL_OHM


def test_no_sag_at_all_is_a_reading_too() -> None:
    """Limit: a lowest voltage above the rested one is a small resistance, and leaves it a positive one."""
    found = driven(-0.05)
    assert 0.0 < ohms(found) < 0.9 * TYPICAL_OHM


def test_a_current_that_was_written_down_says_more() -> None:
    """Limit: the same sag with its current leaves the resistance less unsure than without."""
    assert relative_sd(driven(0.4, loaded_a=28.8)) < relative_sd(driven(0.4)) < relative_sd(driven(None))


def test_depth_goes_by_the_rested_voltage_that_was_read() -> None:
    """Limit: the lowest loaded voltage lies below the rested voltage read after the run, whatever the charge is taken for."""
    for item in driven(None, runs=1).runs:
        for cell in item.estimate.cells:
            assert isinstance(cell.lowest_loaded_v, Estimate)
            assert cell.lowest_loaded_v.value < 3.79
            assert cell.lowest_loaded_v.value > 3.78 - 4.0 * 28.8 * TYPICAL_OHM


def test_a_voltage_below_the_floor_counts_though_the_rested_one_is_doubted() -> None:
    """Limit: a cell misread at rest is graded all the same where the pack's lowest total lay far below three floors, and only then."""
    floor_v = family("lipo").chemistry["floor_v"]

    def grade(lowest_v: float) -> str | None:
        run = Run(
            pack="club", started_at=START, run_s=RUN_S, before_v=(4.2, 4.2, 4.2), after_v=(3.5, 35.0, 3.5), rest_after_s=3600.0,
            loaded_v=(round(3.0 * lowest_v, 2),), pack_k=298.15,
        )  # fmt: skip
        charge = Charge(pack="club", finished_at=START - timedelta(hours=3), goal="full")
        return assess_packs([PackHistory(pack=PACK, runs=(run,), charges=(charge,))], {}, {})[0].runs[0].estimate.cells[1].grade

    assert grade(floor_v - 0.3) == "damaging"
    assert grade(floor_v + 0.45) is None
