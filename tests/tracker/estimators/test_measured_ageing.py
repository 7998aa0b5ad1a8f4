"""Four ageing cells, from files to estimates; skipped where the measurements are not beside the checkout.

B. Saha, K. Goebel (2007), Battery Data Set, NASA Prognostics Data Repository, NASA Ames Research Center.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.tracker.measured import Score, Truth, rows, write_ageing_logbook
from tracker.domain.results import AssessedRun
from tracker.services import open_services

RATED_AH = 2.0


@pytest.fixture(scope="module")
def assessed(tmp_path_factory: pytest.TempPathFactory) -> tuple[tuple[AssessedRun, ...], Truth]:
    table = rows("ageing_cylinder_2ah/cycle_summary.csv")
    folder: Path = tmp_path_factory.mktemp("ageing")
    truth = write_ageing_logbook(folder, table)
    with open_services(f"sqlite:///{folder / 'logbook.sqlite'}") as services:
        services.exchange.import_files([folder / f"{kind}.csv" for kind in ("packs", "runs", "charges")])
        return services.runs.assess(), truth


def score(assessed: tuple[AssessedRun, ...], truth: Truth) -> Score:
    return Score(assessed, truth, {item.run.pack: RATED_AH for item in assessed})


def test_every_clean_row_is_estimated(assessed: tuple[tuple[AssessedRun, ...], Truth]) -> None:
    """Nothing is lost between the files and the estimates."""
    runs, truth = assessed
    assert {(item.run.pack, item.run.started_at) for item in runs} == set(truth)
    assert len(truth) > 350
    assert score(runs, truth).unsaid == 0


def test_charge_used_is_within_two_percent_of_rated(assessed: tuple[tuple[AssessedRun, ...], Truth]) -> None:
    """Measured: the cycler's own integral of the current, against voltages in 10 mV steps and a charger's count."""
    found = score(*assessed)
    assert found.rms <= 0.02
    assert abs(found.mean) <= 0.01


def test_intervals_hold_the_truth_as_often_as_they_say(assessed: tuple[tuple[AssessedRun, ...], Truth]) -> None:
    """Measured: 85 to 95 % of the 90 % intervals."""
    assert 0.85 <= score(*assessed).coverage <= 0.95


@pytest.mark.parametrize("cell", ["B0005", "B0007", "B0029", "B0047"])
def test_no_cell_is_much_worse_than_the_others(assessed: tuple[tuple[AssessedRun, ...], Truth], cell: str) -> None:
    """Measured: one cell at 43 °C and one at 4 °C are among them, and two below 75 % of their first capacity."""
    runs, truth = assessed
    own = score(tuple(item for item in runs if item.run.pack == cell), truth)
    assert own.rms <= 0.025
