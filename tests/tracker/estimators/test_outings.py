"""Where a pack's history is cut when a charge between two runs was not written down."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tracker.domain.pack import Pack
from tracker.domain.session import Run, Volts
from tracker.estimators.cell_family import family
from tracker.estimators.outings import cut

START = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
FULL, EMPTY = (4.2, 4.19, 4.2), (3.69, 3.7, 3.69)


def outings(first: tuple[Volts, Volts], second: tuple[Volts, Volts]) -> int:
    """Number of outings that two runs on one day make, by their voltages before and after."""
    series = max(len(volts) for pair in (first, second) for volts in pair)
    pack = Pack(name="club", chemistry="lipo", series=series, capacity_ah=5.0)
    runs = [
        Run(pack="club", started_at=START + timedelta(hours=3 * number), run_s=600.0, before_v=before, after_v=after)
        for number, (before, after) in enumerate((first, second))
    ]
    return len(cut(pack, runs, [], family("lipo")))


def test_a_pack_that_comes_back_fuller_was_charged() -> None:
    """Limit: full again is another outing; as it was put away is the same one."""
    assert outings((FULL, EMPTY), (FULL, EMPTY)) == 2
    assert outings((FULL, (3.85, 3.85, 3.86)), ((3.85, 3.85, 3.86), EMPTY)) == 1


@pytest.mark.parametrize("misread", [(3.69, 11.08, 3.69), (3.69, 3.7, 4.96), (3.69, 0.37, 3.69)])
def test_one_cell_misread_after_a_run_hides_no_charge(misread: Volts) -> None:
    """Regression: a total or swapped digits in the place of one cell made the pack look full, and two runs on two charges one."""
    assert outings((FULL, misread), (FULL, EMPTY)) == 2


@pytest.mark.parametrize("misread", [(4.19, 1.49, 4.2), (12.59, 4.19, 4.2)])
def test_one_cell_misread_before_a_run_hides_no_charge(misread: Volts) -> None:
    """Regression: the same, misread before the second run."""
    assert outings((FULL, EMPTY), (misread, EMPTY)) == 2


def test_one_cell_misread_makes_no_charge_either() -> None:
    """Limit: a pack taken out as it was put away was not charged because one cell of it is misread."""
    stored = (3.85, 3.85, 3.86)
    assert outings((FULL, stored), ((3.85, 8.35, 3.86), EMPTY)) == 1
    assert outings((FULL, (3.85, 0.85, 3.86)), (stored, EMPTY)) == 1


def test_a_total_in_the_place_of_one_of_two_cells_hides_no_charge() -> None:
    """Limit: of two cells neither is in the middle, but none rests above full."""
    assert outings(((4.2, 4.2), (7.4, 3.7)), ((4.2, 4.19), (3.7, 3.7))) == 2
