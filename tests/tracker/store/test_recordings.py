"""Recordings in the store: lossless to the bit, small, and gone with their run."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from sqlalchemy import text

from tests.tracker.made_up_traces import drive
from tests.tracker.store import builders as b
from tracker.domain.trace import Trace, TraceSummary
from tracker.errors import InputError, NotFoundError, StoreError
from tracker.store import copying
from tracker.store.database import Store, open_store
from tracker.store.trace_codec import decode, encode

SUMMARY = TraceSummary(used_ah=1.25, run_s=480.0, loaded_v=(3.4, 3.41), step_ohm=(0.004,), stretch_s=(1.0, 2.5), stretch_a=(3.0, 40.0))

bits = hnp.arrays(np.int64, st.integers(0, 40)).map(lambda whole: whole.view(np.float64))
decimals = st.integers(0, 9).flatmap(
    lambda digits: hnp.arrays(np.int64, st.integers(0, 60), elements=st.integers(-(10**9), 10**9)).map(lambda whole: whole / 10.0**digits)
)
gappy = st.tuples(decimals, st.randoms()).map(lambda pair: np.array([np.nan if pair[1].random() < 0.3 else value for value in pair[0]]))


def same_bits(one: np.ndarray, other: np.ndarray) -> bool:
    return bool(np.array_equal(np.ascontiguousarray(one).view(np.int64), np.ascontiguousarray(other).view(np.int64)))


@settings(max_examples=300, deadline=None)
@given(st.lists(st.one_of(bits, decimals, gappy, hnp.arrays(np.float32, 20).map(lambda a: a.astype(np.float64))), max_size=4))
def test_every_double_comes_back_bit_for_bit(columns: list[np.ndarray]) -> None:
    """Round trip; also infinities, both zeros, and every kind of NaN."""
    again = decode(encode(columns))
    assert len(again) == len(columns)
    assert all(same_bits(one, other) for one, other in zip(columns, again, strict=True))


@pytest.mark.parametrize(
    "column",
    [
        np.array([0.0, -0.0]),
        np.array([2.0**53, 2.0**53 + 2, -(2.0**60)]),
        np.array([np.nan, np.inf, 5e-324, -1.7976931348623157e308]),
        np.full(1000, np.nan),
        np.zeros(0),
        np.arange(5000) * 0.1,  # not the doubles nearest to its decimals
    ],
)
def test_odd_columns_come_back(column: np.ndarray) -> None:
    assert same_bits(decode(encode([column]))[0], column)


def test_what_a_logger_writes_takes_a_byte_or_less_a_number() -> None:
    """Limit: volts to the millivolt and amps to hundredths with noise; a double takes eight."""
    trace = drive(minutes=20.0)
    columns = [trace.time_s, trace.pack_v, trace.current_a, *trace.cell_v.T, trace.pack_k]
    assert len(encode(columns)) < 1.0 * len(columns) * len(trace.time_s)
    assert len(encode([trace.time_s])) < 0.02 * len(trace.time_s)


@pytest.mark.parametrize("cut", [0, 3, 7, 20, -1])
def test_damaged_bytes_are_refused(cut: int) -> None:
    whole = encode([drive(minutes=0.2).pack_v])
    with pytest.raises(StoreError, match="damaged"):
        decode(whole[:cut])


def prepared(store: Store, trace: Trace) -> Trace:
    """Store the pack and run a recording belongs to."""
    with store.writing() as records:
        b.fill(records, runs=1)
    return replace(trace, pack="Tug 1", started_at=b.START, file_name="log 7.csv")


def test_a_recording_comes_back_as_it_was_and_goes_with_its_run(store: Store) -> None:
    trace = prepared(store, drive(minutes=0.5))
    with store.writing() as records:
        note = records.put_trace(trace, SUMMARY, "1")
    with store.reading() as records:
        found = records.trace("Tug 1", b.START)
        assert found == trace
        assert records.trace_notes() == (note,)
        assert records.trace_summaries(["Tug 1"], "1") == {("Tug 1", b.START): SUMMARY}
        assert records.trace_summaries(None, "2") == {("Tug 1", b.START): None}
        assert [each.file_name for each in records.traces()] == ["log 7.csv"]
    other = replace(trace, pack_v=trace.pack_v + 1.0, cell_v=np.zeros((len(trace.time_s), 0)), pack_k=np.zeros(0))
    with store.writing() as records:
        records.put_trace(other, SUMMARY, "1")
    with store.reading() as records:
        assert records.trace("Tug 1", b.START) == other
    with store.writing() as records:
        records.remove_run("Tug 1", b.START)
    with store.reading() as records:
        assert records.trace("Tug 1", b.START) is None
        assert records.counts()["trace"] == 0


def test_a_recording_needs_its_run_and_columns_that_fit(store: Store) -> None:
    trace = prepared(store, drive(minutes=0.2))
    with store.writing() as records:
        with pytest.raises(NotFoundError):
            records.put_trace(replace(trace, started_at=b.at(99)), SUMMARY, "1")
        with pytest.raises(InputError, match="different lengths"):
            records.put_trace(replace(trace, pack_v=trace.pack_v[:-1]), SUMMARY, "1")
        with pytest.raises(InputError, match="do not rise"):
            records.put_trace(replace(trace, time_s=np.zeros(len(trace.time_s))), SUMMARY, "1")
        with pytest.raises(NotFoundError, match="no recording"):
            records.remove_trace("Tug 1", b.START)


def test_a_recording_that_was_altered_in_the_file_is_refused(file_store: Store) -> None:
    trace = prepared(file_store, drive(minutes=0.2))
    with file_store.writing() as records:
        records.put_trace(trace, SUMMARY, "1")
        records.connection.execute(text("UPDATE trace SET payload = CAST(substr(payload, 1, length(payload) - 1) || x'00' AS BLOB)"))
    with file_store.reading() as records, pytest.raises(StoreError, match="damaged"):
        records.trace("Tug 1", b.START)


def test_recordings_are_in_a_backup(store: Store, tmp_path: Path) -> None:
    trace = prepared(store, drive(minutes=0.5))
    with store.writing() as records:
        records.put_trace(trace, SUMMARY, "1")
    copying.backup(store, tmp_path / "copy.sqlite3")
    with store.writing() as records:
        records.remove_trace("Tug 1", b.START)
    copying.restore(store, tmp_path / "copy.sqlite3")
    with store.reading() as records:
        assert records.trace("Tug 1", b.START) == trace
    with open_store(f"sqlite:///{tmp_path / 'copy.sqlite3'}") as copy, copy.reading() as records:
        assert records.trace("Tug 1", b.START) == trace
