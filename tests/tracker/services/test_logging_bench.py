"""A bench test taken by hand, stored through the services on a real database."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from tracker.domain.results import Estimate, NotEnough
from tracker.domain.session import BenchReading, BenchTest
from tracker.errors import ConflictError, FieldErrors, NotFoundError
from tracker.services import Services

DOWN = tuple(BenchReading(supply_v=volts, running=running) for volts, running in ((5.3, True), (5.2, True), (5.1, False), (5.6, False)))
TEST = BenchTest(controller="Right", tested_at=datetime(2025, 3, 2, 12, tzinfo=UTC), readings=DOWN)


def test_what_is_logged_is_stored_and_judged(filled: Services) -> None:
    result = filled.controllers.log_bench(TEST)
    assert isinstance(result.trip_v, Estimate)
    assert result.trip_v.value == pytest.approx(5.15)
    assert isinstance(result.restart_v, NotEnough)
    assert filled.controllers.bench("Right") == (result,)
    assert {finding.subject for finding in result.findings} == {"Right"}


def test_a_second_test_is_taken_with_the_first(filled: Services) -> None:
    filled.controllers.log_bench(TEST)
    again = filled.controllers.log_bench(replace(TEST, tested_at=TEST.tested_at + timedelta(minutes=10)))
    assert again.trips == 2


def test_a_preview_stores_nothing(filled: Services) -> None:
    shown = filled.controllers.preview_bench(TEST)
    assert isinstance(shown.trip_v, Estimate)
    with pytest.raises(NotFoundError):
        filled.controllers.bench("Right")


@pytest.mark.parametrize(
    ("wrong", "column"),
    [
        ({"readings": DOWN[:1]}, "readings"),
        ({"readings": ()}, "readings"),
        ({"readings": DOWN * 501}, "readings"),
        ({"readings": (*DOWN, BenchReading(supply_v=0.0, running=False))}, "supply_v"),
        ({"readings": (*DOWN, BenchReading(supply_v=740.0, running=True))}, "supply_v"),
        ({"readings": (*DOWN, BenchReading(supply_v=float("nan"), running=True))}, "supply_v"),
        ({"tested_at": datetime(2025, 3, 2, 12)}, "tested_at"),  # noqa: DTZ001  the point of it
        ({"tested_at": datetime.now(UTC) + timedelta(days=3)}, "tested_at"),
    ],
)
def test_what_cannot_be_a_test_is_refused_and_nothing_stored(filled: Services, wrong: dict[str, object], column: str) -> None:
    before = filled.controllers.bench()
    with pytest.raises(FieldErrors) as refused:
        filled.controllers.log_bench(replace(TEST, **wrong))  # type: ignore[arg-type]
    assert set(refused.value.problems) == {column}
    assert filled.controllers.bench() == before


def test_an_unknown_controller_and_a_time_taken_are_refused(filled: Services) -> None:
    with pytest.raises(NotFoundError, match="'Middle' is not known; known are 'Left', 'Right'"):
        filled.controllers.log_bench(replace(TEST, controller="Middle"))
    filled.controllers.log_bench(TEST)
    with pytest.raises(ConflictError, match="is stored already"):
        filled.controllers.log_bench(replace(TEST, readings=DOWN[:2]))
    [right] = filled.controllers.bench("Right")
    assert right.trips == 1
