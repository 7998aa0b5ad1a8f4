"""What a pack's history teaches, against what is required, on packs that were simulated and never looked at.

Published: parameters of seven cells in a physics-based cell library. Marquis2019, Mohtat2020, Ai2020 and Ecker2015 stand for
lithium polymer, Chen2020, NCA_Kim2011 and ORegan2022 for cylindrical lithium-ion. The open-circuit curves of Mohtat2020,
Ai2020, Chen2020 and NCA_Kim2011 are among those the chemistry files are drawn from; the other three are in none.
The same rows on a larger sample of other packs: python -m tests.benchmarks.accuracy
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks import accuracy_groups as groups
from tests.tracker.estimators.judging import Answers, joined
from tests.tracker.measured import Score
from tests.tracker.measured_histories import RATED_AH, ageing_history
from tracker.domain.session import Run
from tracker.estimators.assess import assess_packs

pytestmark = pytest.mark.long

SAMPLE = groups.Sample(packs=4, named_packs=3, first_number=500)


@pytest.fixture(scope="module")
def charge() -> dict[str, Answers]:
    """Charge used by each kind of evidence."""
    return {
        "counted": groups.counted(SAMPLE),
        "pouch": groups.taught(SAMPLE, groups.POUCH),
        "cylinder": groups.taught(SAMPLE, groups.CYLINDER),
        "never": groups.never_counted(SAMPLE),
        "totals": groups.taught_totals(SAMPLE),
    }


@pytest.mark.parametrize(
    ("evidence", "limit"), [("counted", 0.013), ("pouch", 0.04), ("cylinder", 0.06), ("never", 0.08), ("totals", 0.04)]
)  # fmt: skip
def test_charge_used(charge: dict[str, Answers], evidence: str, limit: float) -> None:
    """Root mean square error over rated, and no run without an estimate."""
    assert len(charge[evidence].each) >= 90
    assert charge[evidence].unsaid == 0
    assert charge[evidence].rms <= limit


@pytest.mark.parametrize(("makes", "limit"), [(groups.POUCH, 0.04), (groups.CYLINDER, 0.06)])
def test_charge_used_as_known_then(makes: tuple[str, ...], limit: float) -> None:
    """From voltages alone, with nothing that was written down later than the run."""
    assert groups.taught(SAMPLE, makes, then=True).rms <= limit


def test_intervals_hold_the_truth_as_often_as_they_say(charge: dict[str, Answers]) -> None:
    """Over all evidence 85 to 97 % of the 90 % intervals, over at least 200 runs of at least three makes: rather wide than wrong."""
    every = joined(charge.values())
    assert len(every.each) >= 200
    assert len(every.makes) >= 3
    assert 0.85 <= every.held <= 0.97


@pytest.mark.parametrize(("nominal", "low", "high"), [(0.5, 0.45, 0.72), (0.8, 0.75, 0.94), (0.95, 0.90, 0.99)])
def test_other_intervals_do_too(charge: dict[str, Answers], nominal: float, low: float, high: float) -> None:
    """A standard uncertainty is good for more than one interval."""
    assert low <= joined(charge.values()).achieved(nominal) <= high


def test_no_make_is_left_without_honest_intervals(charge: dict[str, Answers]) -> None:
    """Never counted, makes differ together: of no make do the intervals hold less than seven tenths of its runs."""
    for make in charge["never"].makes:
        assert charge["never"].of(make).held >= 0.7, make


def test_weakest_cell_is_named_and_its_ratio_known() -> None:
    """12 % weaker, eight counted runs: named in nine of ten packs, no other ever, 3 % on the ratio; hardly one where all are alike."""
    naming, ratio = groups.weakest(SAMPLE)
    assert naming.packs == len(groups.MAKES) * SAMPLE.named_packs
    assert naming.right >= 0.9 * naming.packs
    assert naming.wrong == 0
    assert naming.named_in_even <= 0.1 * naming.even_packs
    assert ratio.rms <= 0.03
    assert ratio.held >= 0.75


def test_restless_cell_is_found() -> None:
    """Loses 8 % a month more than its neighbours: found in most packs, and hardly ever seen where there is none."""
    found = groups.restless(SAMPLE)
    assert found.right >= 0.8 * found.packs > 0
    assert found.named_in_even <= 0.1 * found.even_packs


def test_cells_below_their_floor() -> None:
    """Counted, with the pack's lowest voltage in every other run: most true cases graded deep or damaging, few false alarms."""
    found = groups.floor_alarms(SAMPLE, "counted, lowest total in every other run")
    assert found.below >= 50
    assert found.hit_share >= 0.85
    assert found.false_share <= 0.07


def test_capacity() -> None:
    """Each cell of a fresh pack after twelve deep counted runs, none to the very end: as well as an unknown curve lets it be known."""
    found = groups.capacity(SAMPLE)
    assert found.unsaid <= 0.15 * (len(found.each) + found.unsaid)
    assert found.rms <= 0.05
    assert 0.7 <= found.held <= 0.98


def test_slips_are_set_aside() -> None:
    """5 % of the rows spoilt: runs they do not touch are as good as ever, gross ones are found, and sound ones are not doubted."""
    found = groups.slipped(SAMPLE)
    assert found.sound.rms <= 0.013
    seen, caught = np.sum(list(found.aside.slips.values()), axis=0)
    assert seen >= 15
    assert caught >= 0.75 * seen
    assert found.aside.sound_doubted <= 0.02 * found.aside.sound_runs


@pytest.mark.parametrize("cell", ["B0005", "B0007"])
def test_measured_cells_from_voltages_alone_after_six_counts(cell: str) -> None:
    """Measured: learned from the first six counted cycles, judged on the thirty that follow."""
    past, truth = ageing_history(cell, counted=6)
    found = Score(assess_packs([past], {}, {})[0].runs[6:36], truth, {cell: RATED_AH})
    assert found.unsaid == 0
    assert found.rms <= 0.06
    assert found.coverage >= 0.75


@pytest.mark.parametrize("cell", ["B0005", "B0007"])
def test_measured_cells_counted_throughout(cell: str) -> None:
    """Measured: a charger's count after every run, while the cell loses a third of what it held."""
    past, truth = ageing_history(cell)
    runs: tuple[Run, ...] = past.runs
    found = Score(assess_packs([past], {}, {})[0].runs, truth, {cell: RATED_AH})
    assert len(found.errors) == len(runs)
    assert found.rms <= 0.02
    assert found.coverage >= 0.85
