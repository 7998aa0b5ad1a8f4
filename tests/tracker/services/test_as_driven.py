"""A run keeps the cutoff settings it was driven with when a controller is changed later."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from tests.tracker.small_logbook import CONTROLLERS, COUNTS, write
from tracker.domain.session import Volts
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
