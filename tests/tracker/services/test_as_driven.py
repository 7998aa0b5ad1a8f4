"""A run keeps the cutoff settings it was driven with when a controller is changed later."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.tracker.small_logbook import CONTROLLERS, COUNTS, RUNS, write
from tracker.domain.session import Volts
from tracker.errors import FieldErrors, ImportRefusedError
from tracker.services import Services


def settings(services: Services) -> list[Volts]:
    return [item.run.cutoff_v for item in services.runs.assess("Tug A")]


def test_changing_a_controller_leaves_past_runs_as_driven(filled: Services) -> None:
    assert settings(filled) == [(6.4, 5.1), ()]
    [right] = [each for each in filled.controllers.all() if each.name == "Right"]
    filled.controllers.save(replace(right, cutoff_v=6.6))
    assert settings(filled) == [(6.4, 5.1), (6.4, 5.1)]


def test_changing_only_its_notes_writes_nothing_into_runs(filled: Services) -> None:
    [right] = [each for each in filled.controllers.all() if each.name == "Right"]
    filled.controllers.save(replace(right, notes="looked at"))
    assert settings(filled) == [(6.4, 5.1), ()]


def test_carrying_another_controller_leaves_past_runs_as_driven(filled: Services) -> None:
    [tug] = filled.controllers.vehicles()
    filled.controllers.save(replace(tug, controllers=("Left",)))
    assert settings(filled) == [(6.4, 5.1), (6.4, 5.1)]


def test_an_import_that_moves_a_cutoff_does_so_too_and_the_old_rows_still_match(filled: Services, tmp_path: Path) -> None:
    moved = write(tmp_path / "moved", controllers=CONTROLLERS.replace("5.1", "6.6"), vehicles="", packs="", runs="")
    report = filled.exchange.import_files(moved, update=True)
    assert report.updated["controllers"] == 1
    assert report.unchanged["runs"] == COUNTS["runs"]
    assert settings(filled) == [(6.4, 5.1), (6.4, 5.1)]


def test_a_controller_that_now_counts_in_cells_leaves_past_runs_at_the_same_voltage(filled: Services) -> None:
    [right] = [each for each in filled.controllers.all() if each.name == "Right"]
    filled.controllers.save(replace(right, cutoff_mode="cell_v", cutoff_v=3.3))
    assert settings(filled) == [(6.4, 2.55), (6.4, 2.55)]
    filled.controllers.save(replace(right, cutoff_mode="pack_v", cutoff_v=6.8))
    assert settings(filled) == [(6.4, 5.1), (6.4, 5.1)]


def test_times_still_to_come_are_refused(filled: Services, tmp_path: Path) -> None:
    [first, *_] = filled.runs.assess("Tug A")
    ahead = replace(first.run, started_at=datetime.now(UTC) + timedelta(days=3))
    with pytest.raises(FieldErrors, match="still to come"):
        filled.runs.log(ahead)
    text = RUNS + "Tug A,Pond tug,2150-04-05T10:00:00Z,14,60,,,,14,,,30,,22,driver,\n"
    with pytest.raises(ImportRefusedError, match=r"started_at: '2150-04-05 .* is still to come"):
        filled.exchange.import_files(write(tmp_path / "ahead", runs=text))
