"""Packs plugged in partly empty into controllers that count cells: limits, and what it comes to in a plan."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.tracker.estimators.planned_packs import controller_of, known_closely, pack_of, planned, setup_for
from tracker.domain.planning import CutoffPlan
from tracker.estimators.cell_family import family
from tracker.estimators.counted_start import EMPTY_SOC, PARTLY_EMPTY, CountedStart, counted_start
from tracker.estimators.drawn_packs import drawn_versions

FULL_V = family("lipo").chemistry["full_v"]
FULL, HALF, NEARLY_EMPTY = (1.0,) * 8, (0.5,) * 8, (0.02,) * 8


def counted(series: int, starts: tuple[float, ...], draws: int = 512) -> CountedStart:
    pack = pack_of(series=series)
    versions = drawn_versions(pack, known_closely(pack), family("lipo"), count=draws, lead_ohm=0.0, seed=5).at(298.15)
    return counted_start(versions, starts, FULL_V, 8)


def plan_of(mode: str, starts: tuple[float, ...], series: int = 6) -> CutoffPlan:
    pack = pack_of(series=series)
    volts = 3.4 if mode == "cell_v" else 3.4 * series
    one = controller_of("Counts", volts, mode, sd=0.02 * (1.0 if mode == "cell_v" else series))
    return planned(replace(setup_for(pack, states=known_closely(pack), controllers=[one]), starts_soc=starts), draws=1024)


@pytest.mark.parametrize("series", [1, 2, 6, 8])
def test_a_full_pack_is_counted_right(series: int) -> None:
    found = counted(series, FULL)
    assert (found.fewest, found.share, found.assumed) == (series, 0.0, False)


def test_a_half_empty_pack_of_few_cells_is_counted_right_and_of_many_wrong() -> None:
    """Worked by hand: from 4.3 V a cell, two cells count as two above 4.3 V; eight at 3.73 V make 29.9 V, less than seven times 4.3 V."""
    assert counted(2, HALF).share == 0.0
    many = counted(8, (0.3,) * 8)
    assert many.below_v == pytest.approx(7 * 4.3)
    assert (many.share, many.fewest) == (1.0, 7)


def test_a_share_of_the_starts_is_a_share_of_the_versions() -> None:
    found = counted(6, (1.0,) * 6 + (0.02,) * 2)
    assert found.share == pytest.approx(0.25, abs=0.002)
    assert not found.assumed


def test_with_too_few_starts_full_is_assumed_with_a_small_chance() -> None:
    found = counted(8, (0.02,) * 3, draws=4096)
    assert found.assumed
    assert 0.0 < found.share < PARTLY_EMPTY
    assert counted(2, ()).share == 0.0  # two cells at such a charge are still above the voltage of one
    assert EMPTY_SOC > 0.02


def test_who_always_plugs_in_full_has_what_a_setting_of_the_pack_has() -> None:
    [by_cell], [by_pack] = plan_of("cell_v", FULL).present, plan_of("pack_v", FULL).present
    assert by_cell.below_floor_probability == pytest.approx(by_pack.below_floor_probability)
    assert by_cell.verdict == by_pack.verdict


def test_who_plugs_in_nearly_empty_is_not_protected_and_told_why() -> None:
    """Five of six cells at 3.4 V are 2.83 V a cell: below the floor of 3.0 V, run until it lets go."""
    plan = plan_of("cell_v", NEARLY_EMPTY)
    [one] = plan.present
    assert one.below_floor_probability > 0.95
    assert not one.protects
    assert plan.together is not None
    assert plan.together.below_floor_probability > 0.95
    assert "it counts 6 cells as 5 and lets go at 2.83 V a cell: in 100 % of runs, as runs written down began" in one.verdict
    [now_and_then] = plan_of("cell_v", (1.0,) * 15 + (0.02,)).present
    assert now_and_then.below_floor_probability == pytest.approx(1.0 / 16.0, abs=0.01)
    assert not now_and_then.protects
    # What is advised is for a controller set of the pack, and does not depend on how it counts.
    assert plan.recommended == plan_of("pack_v", NEARLY_EMPTY).recommended
