"""Bench tests through the services, on a real database."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from tracker.domain.bench import Meter
from tracker.domain.divider import DividerTask
from tracker.domain.pack import Pack
from tracker.domain.results import Estimate, NotEnough
from tracker.errors import ImportRefusedError, InputError, NotFoundError
from tracker.services import Services
from tracker.services.planning import move_trip_point

NICKEL = """\
controller,tested_at,supply_v,motor
Right,2025-03-02T12:00:00Z,5.2,running
Right,2025-03-02T12:00:00Z,5.1,running
Right,2025-03-02T12:00:00Z,5.0,stopped
Right,2025-03-02T12:00:00Z,5.6,stopped
Right,2025-03-02T12:00:00Z,5.7,running
"""


def write(folder: Path, text: str) -> Path:
    file = folder / "right.csv"
    file.write_text(text, encoding="utf-8")
    return file


def rules(findings: object) -> set[str]:
    assert isinstance(findings, tuple)
    return {finding.rule for finding in findings}


def test_stored_tests(filled: Services) -> None:
    [left] = filled.controllers.bench()
    assert left.controller == "Left"
    assert isinstance(left.trip_v, Estimate)
    assert left.trip_v.value == pytest.approx(6.7)
    assert filled.controllers.bench("Left") == (left,)


def test_a_file_stores_nothing_and_is_judged_beside_what_is_stored(filled: Services, tmp_path: Path) -> None:
    before = filled.controllers.bench()
    shown = filled.controllers.bench_file(write(tmp_path, NICKEL))
    [right] = shown.results
    assert rules(right.findings) >= {"bench-trip-under-floor", "bench-runs-again", "bench-loosely-known"}
    assert right.findings[0].severity == "stop"
    assert filled.controllers.bench() == before


def test_stored_beside_each_other(filled: Services, tmp_path: Path) -> None:
    filled.exchange.import_files([write(tmp_path, NICKEL)])
    left, right = filled.controllers.bench()
    assert "bench-other-lower" in rules(left.findings)
    assert "bench-other-lower" not in rules(right.findings)


def test_packs_out_of_use_are_not_spoken_of(filled: Services, tmp_path: Path) -> None:
    for name in ("Tug A", "Tug B"):
        filled.packs.save(Pack(name=name, chemistry="lipo", series=2, capacity_ah=5.0, retired_on=date(2025, 6, 1)))
    [right] = filled.controllers.bench_file(write(tmp_path, NICKEL)).results
    assert "bench-trip-under-floor" not in rules(right.findings)


def test_the_meter_named_is_the_one_reckoned_with(filled: Services) -> None:
    usual, sure = filled.controllers.bench()[0].trip_v, filled.controllers.bench(meter=Meter(gain=0.0, digit_v=0.0))[0].trip_v
    assert isinstance(usual, Estimate)
    assert isinstance(sure, Estimate)
    assert sure.sd < usual.sd


def test_never_let_go_is_a_result_in_words(filled: Services, tmp_path: Path) -> None:
    [right] = filled.controllers.bench_file(write(tmp_path, NICKEL.replace("stopped", "running"))).results
    assert isinstance(right.trip_v, NotEnough)
    assert "down to 5.00 V" in right.trip_v.why
    assert "bench-never-trips" in rules(right.findings)


def test_refused(filled: Services, tmp_path: Path) -> None:
    with pytest.raises(NotFoundError, match=r"'Middle' is not known; known are 'Left', 'Right'; name one of those"):
        filled.controllers.bench("Middle")
    with pytest.raises(NotFoundError, match="no bench test of controller 'Right' is stored"):
        filled.controllers.bench("Right")
    with pytest.raises(NotFoundError, match="known are 'Right'"):
        filled.controllers.bench_file(write(tmp_path, NICKEL), "Left")
    with pytest.raises(ImportRefusedError, match="motor"):
        filled.controllers.bench_file(write(tmp_path, NICKEL.replace("stopped", "perhaps")))


def test_the_divider_needs_no_logbook(services: Services) -> None:
    task = DividerTask(ratio=1.0, bottom_ohm=10e3, trips_at_v=5.0, wanted_v=6.0)
    plan = services.planning.divider(task)
    assert plan == move_trip_point(task)
    assert plan.cautions
    with pytest.raises(InputError):
        services.planning.divider(DividerTask(ratio=1.0, bottom_ohm=10e3, trips_at_v=5.0, wanted_v=2.0))
