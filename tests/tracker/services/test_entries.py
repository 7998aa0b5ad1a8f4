"""Round trip: a record as the texts of a form and back; and what a form may hold that is no record."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tracker.services.random_edits import RECORDS
from tests.tracker.store import builders as b
from tracker.domain.changes import Kind
from tracker.domain.controller import Vehicle
from tracker.errors import FieldErrors, InputError
from tracker.services.entries import columns_of, names_text, record_from, texts_from, time_text

FULL: dict[Kind, Any] = {
    "pack": b.FULL_PACK,
    "vehicle": b.FULL_VEHICLE,
    "controller": b.FULL_CONTROLLER,
    "run": b.FULL_RUN,
    "charge": b.FULL_CHARGE,
    "bench": b.FULL_BENCH,
}


@pytest.fixture
def zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A zone whose clocks are set back in autumn."""
    if not hasattr(time, "tzset"):
        pytest.skip("the zone of this system cannot be set for a test")
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize("kind", FULL)
def test_a_full_record_comes_back_whole(kind: Kind) -> None:
    texts = texts_from(FULL[kind])
    assert tuple(texts) == columns_of(kind)
    assert all(texts.values())
    assert record_from(kind, texts) == FULL[kind]
    # A browser sends the ends of lines in its own way.
    assert record_from(kind, {name: text.replace("\n", "\r\n") for name, text in texts.items()}) == FULL[kind]


@settings(max_examples=150, deadline=None)
@given(data=st.data(), kind=st.sampled_from(list(RECORDS)))
def test_any_record_comes_back_whole(data: st.DataObject, kind: Kind) -> None:
    record = data.draw(RECORDS[kind])
    assert record_from(kind, texts_from(record)) == record


@settings(max_examples=300, deadline=None)
@given(data=st.data(), kind=st.sampled_from(list(FULL)))
def test_whatever_a_form_holds_is_a_record_or_faults_by_column(data: st.DataObject, kind: Kind) -> None:
    texts = texts_from(FULL[kind])
    strange = st.sampled_from(["<script>", "9e99", "-1", "1,300", "nan", "1" * 400, "\0", "\ud800", "a\u202eb", "2025-02-30T99:99", "  "])
    for name in data.draw(st.sets(st.sampled_from(list(texts)), min_size=1)):
        texts[name] = data.draw(strange | st.text(max_size=30))
    try:
        record = record_from(kind, texts)
    except FieldErrors as faults:
        assert set(faults.problems) <= set(columns_of(kind))  # noqa: PT017 - either may happen
        assert all(faults.problems.values())  # noqa: PT017
    else:
        assert record_from(kind, texts_from(record)) == record


def test_times_are_local_and_say_more_only_where_they_must(zone: None) -> None:
    assert time_text(datetime(2025, 6, 1, 12, 30, tzinfo=UTC)) == "2025-06-01T14:30"
    assert time_text(datetime(2025, 1, 1, 12, 30, 5, tzinfo=UTC)) == "2025-01-01T13:30:05"
    for twice in (datetime(2025, 10, 26, 0, 30, tzinfo=UTC), datetime(2025, 10, 26, 1, 30, tzinfo=UTC)):  # both 02:30 here
        assert record_from("run", texts_from(replace(b.run(), started_at=twice))) == replace(b.run(), started_at=twice)
    with pytest.raises(FieldErrors, match="came twice here"):
        record_from("charge", {"pack": "A", "finished_at": "2025-10-26T02:30"})


def test_decimal_comma_and_point_and_nothing() -> None:
    given = {"pack": "A", "started_at": "2025-04-03T12:30Z", "run_min": "9,5", "after_v": "3,81 3,74", "used_mah": "", "notes": " "}
    run = record_from("run", given)
    assert record_from("run", {**given, "run_min": "9.5", "after_v": "3.81 3.74"}) == run
    assert texts_from(run)["after_v"] == "3.81 3.74"
    assert texts_from(run)["used_mah"] == ""


def test_a_name_with_a_blank_among_controllers() -> None:
    names = ("left side", 'the "old" one', '"', "plain")
    texts = {"vehicle": "Tug", "controllers": names_text(names)}
    assert record_from("vehicle", texts) == Vehicle(name="Tug", controllers=names)


def test_bench_readings_in_pairs() -> None:
    texts = {"controller": "port", "tested_at": "2025-04-03T12:30Z", "supply_v": "7,0 6,4", "motor": "running"}
    with pytest.raises(FieldErrors, match="motor: 1 words are given for 2 voltages"):
        record_from("bench", texts)
    assert texts_from(record_from("bench", {**texts, "motor": "running stopped"}))["supply_v"] == "7 6.4"


def test_a_kind_there_is_none_of() -> None:
    with pytest.raises(InputError, match="'charger' is not a kind of record; allowed are pack, vehicle, controller, run, charge, bench"):
        record_from("charger", {})  # type: ignore[arg-type]
