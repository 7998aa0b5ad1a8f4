"""Recordings of loggers of many makes: round trips from a known truth, what is guessed and said, and what is refused."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.tracker.made_up_traces import DIALECTS, START, Dialect, drive, write
from tracker.domain.trace import Trace, TraceReading
from tracker.errors import FieldErrors, ImportRefusedError, TrackerError
from tracker.intake.trace_headers import understand
from tracker.intake.traces import is_trace, read_trace


@pytest.fixture(scope="module")
def driven() -> Trace:
    return drive(minutes=1.5)


@pytest.mark.parametrize("dialect", DIALECTS, ids=lambda dialect: dialect.name)
def test_whatever_way_a_logger_writes_the_recording_comes_back(dialect: Dialect, driven: Trace, tmp_path: Path) -> None:
    """Round trip: every number to the last digit written, with nothing said of the file."""
    found = read_trace(write(driven, dialect, tmp_path / "log.csv"))
    assert found.preview.rows == len(driven.time_s)
    np.testing.assert_allclose(found.time_s, driven.time_s, rtol=0, atol=1e-5)
    np.testing.assert_array_equal(found.pack_v, driven.pack_v)
    np.testing.assert_array_equal(found.current_a, driven.current_a)
    np.testing.assert_array_equal(found.cell_v, driven.cell_v)
    np.testing.assert_allclose(found.pack_k, driven.pack_k + 273.15, rtol=0, atol=0.006)
    assert (found.preview.started_at == START) == dialect.tells_start or found.preview.started_at is not None
    assert found.preview.reading.discharge == ("negative" if "negative" in dialect.name else "positive")


@pytest.mark.parametrize("dialect", DIALECTS[:4], ids=lambda dialect: dialect.name)
def test_a_reading_that_was_confirmed_reads_the_same_again(dialect: Dialect, driven: Trace, tmp_path: Path) -> None:
    path = write(driven, dialect, tmp_path / "log.csv")
    first = read_trace(path)
    again = read_trace(path, first.preview.reading)
    assert again.preview.reading == first.preview.reading
    assert again.trace("a", START) == first.trace("a", START)


def log(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def rows(count: int = 30, step: float = 1.0) -> list[tuple[float, float, float]]:
    return [(i * step, 11.1 - 0.4 * (i % 2), 10.0 + 30.0 * (i % 2)) for i in range(count)]


def table(header: str, lines: list[str]) -> str:
    return "\n".join([header, *lines]) + "\n"


@pytest.mark.parametrize(
    ("header", "role", "unit"),
    [
        ("U/V", "volts", "V"),
        ("I in mA", "amps", "mA"),
        ("Akkuspannung", "volts", None),
        ("電圧(V)", "volts", "V"),
        ("Тока", None, None),
        ("ток, A", "amps", "A"),
        ("used (mAh)", None, None),
        ("current capacity [mAh]", None, None),
        ("power_w", None, None),
        ("run_min", None, None),
        ("before_v", None, None),
        ("<script>alert(1)</script>", None, None),
        ("", None, None),
        ("12.6", None, None),
    ],
)
def test_headers_are_understood_or_left_alone(header: str, role: str | None, unit: str | None) -> None:
    found = understand(header)
    assert (found.role, found.unit if role else None) == (role, unit)


def test_the_packs_own_column_comes_before_others_and_a_tie_is_said(tmp_path: Path) -> None:
    lines = [f"{t},5.0,{v},{v},{i}" for t, v, i in rows()]
    found = read_trace(log(tmp_path, table("time_s,BEC voltage [V],Battery voltage [V],Voltage B [V],Current [A]", lines)))
    assert found.preview.reading.columns["volts"] == "Battery voltage [V]"
    tied = read_trace(log(tmp_path, table("time_s,Voltage A1 [V],Voltage B1 [V],Current [A]", [f"{t},{v},{v},{i}" for t, v, i in rows()])))
    assert any("'Voltage B1 [V]' could be meant" in doubt for doubt in tied.preview.doubts)


def test_sizes_without_units_are_guessed_and_said(tmp_path: Path) -> None:
    lines = [f"{100 * t:.0f},{1000 * v:.0f},{1000 * i:.0f}" for t, v, i in rows()]
    preview = read_trace(log(tmp_path, table("time,voltage,current", lines))).preview
    assert dict(preview.reading.units) == {"time": "ms", "volts": "mV", "amps": "mA"}
    assert preview.lowest_v == pytest.approx(10.7)
    assert preview.highest_a == pytest.approx(40.0)
    assert sum("mV for 'voltage'" in doubt or "milliseconds" in doubt for doubt in preview.doubts) == 2
    told = read_trace(tmp_path / "log.csv", TraceReading(units={"time": "s", "volts": "mV", "amps": "mA"})).preview
    assert told.span_s == pytest.approx(2900.0)
    assert not any("size" in doubt or "no unit" in doubt for doubt in told.doubts)


def test_the_sign_is_told_by_the_sag_even_where_more_flows_in_than_out(tmp_path: Path) -> None:
    """A model that brakes hard, or a charge in the same file: most of the current then has the other sign."""
    lines = [f"{i},{11.1 + 0.01 * current:.3f},{current}" for i, current in enumerate([-5.0, 60.0, -20.0, 50.0] * 10)]
    preview = read_trace(log(tmp_path, table("time_s,volts,amps", lines))).preview
    assert preview.reading.discharge == "negative"
    assert any("rises when the current rises" in doubt for doubt in preview.doubts)
    steady = [f"{i},11.10,-4.0" for i in range(20)]
    preview = read_trace(log(tmp_path, table("time_s,volts,amps", steady))).preview
    assert preview.reading.discharge == "negative"
    assert any("does not show in the voltage" in doubt for doubt in preview.doubts)


def test_empty_cells_and_rows_are_nothing_recorded(tmp_path: Path) -> None:
    text = "time_s,volts,amps,cell_1,cell_2\n0,8.3,,4.15,4.15\n1,,5,--,4.1\n\n,,,,\n2,8.1,N/A,4.05,nan\n3,8.0,9,4,4\n4,8.2,1,4.1,4.1\n"
    found = read_trace(log(tmp_path, text))
    np.testing.assert_array_equal(found.time_s, [0, 1, 2, 3, 4])
    np.testing.assert_array_equal(found.current_a, [np.nan, 5, np.nan, 9, 1])
    np.testing.assert_array_equal(found.cell_v[:3], [[4.15, 4.15], [np.nan, 4.1], [4.05, np.nan]])


def test_a_last_line_that_is_cut_off_is_left_out_and_said(tmp_path: Path) -> None:
    text = table("time_s,volts,amps", [f"{t},{v},{i}" for t, v, i in rows()]) + "30.0,11."
    found = read_trace(log(tmp_path, text))
    assert found.preview.rows == 30
    assert any("last line (32) is cut off" in doubt for doubt in found.preview.doubts)


def test_rows_of_one_time_are_spread_and_said(tmp_path: Path) -> None:
    lines = [f"{int(t)},{v},{i}" for t, v, i in rows(40, step=0.25)]
    found = read_trace(log(tmp_path, table("time_s,volts,amps", lines)))
    np.testing.assert_allclose(found.time_s, np.arange(40) * 0.25)
    assert any("30 rows have the same time" in doubt and "line 3" in doubt for doubt in found.preview.doubts)


def test_a_clock_may_pass_midnight(tmp_path: Path) -> None:
    lines = [f"{clock},{v},{i}" for clock, (_, v, i) in zip(["23:59:58", "23:59:59", "00:00:00", "00:00:01"], rows(4), strict=True)]
    np.testing.assert_array_equal(read_trace(log(tmp_path, table("time,volts,amps", lines))).time_s, [0, 1, 2, 3])


@pytest.mark.parametrize(
    ("first", "second", "began"),
    [
        ("2025-05-14T13:20:05Z", "2025-05-14T13:20:06Z", datetime(2025, 5, 14, 13, 20, 5, tzinfo=UTC)),
        ("2025-05-14 15:20:05.25+02:00", "2025-05-14 15:20:06.25+02:00", datetime(2025, 5, 14, 13, 20, 5, 250_000, tzinfo=UTC)),
        ("14.05.2025 13:20:05", "14.05.2025 13:20:06", datetime(2025, 5, 14, 13, 20, 5).astimezone()),
        ("05/14/2025 13:20:05", "05/14/2025 13:20:06", datetime(2025, 5, 14, 13, 20, 5).astimezone()),
        ("2025/05/14 13:20:05", "2025/05/14 13:20:06", datetime(2025, 5, 14, 13, 20, 5).astimezone()),
        ("1747228805000", "1747228806000", datetime(2025, 5, 14, 13, 20, 5, tzinfo=UTC)),
        ("04/05/2025 13:20:05", "04/05/2025 13:20:06", None),
    ],
)
def test_dates_are_understood_where_only_one_is_possible(tmp_path: Path, first: str, second: str, began: datetime | None) -> None:
    preview = read_trace(log(tmp_path, f"time,volts,amps\n{first},11.1,1\n{second},11.0,20\n")).preview
    assert preview.started_at == began
    assert preview.span_s == 1.0
    assert (began is None) == any("different days" in doubt for doubt in preview.doubts)


def test_a_clock_in_a_year_no_logbook_has_tells_no_start(tmp_path: Path) -> None:
    rows = "".join(f"9998-12-31T23:00:{second:02}Z,11,3\n" for second in range(9))
    preview = read_trace(log(tmp_path, f"timestamp,volts,amps\n{rows}")).preview
    assert (preview.started_at, preview.span_s) == (None, 8.0)
    assert any("Say when the run started" in doubt for doubt in preview.doubts)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"", "is empty"),
        (b"time_s,volts,amps\n", "holds no reading"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "NUL"),
        ("time_s,volts,amps\n1,2,3\n".encode("utf-16"), "UTF-16"),
        (b"time_s,volts,amps\n" + b"1,11.1,3\n" * 50_000 + b"\0\n", "log.csv:50002: file: holds a NUL"),
        (b"left,right\n1,2\n", "is no recording this program can tell"),
        (b"time_s,volts\n1,2\n", "lacks a current"),
        (b"1,2,3\n4,5,6\n", "is no recording"),
        (b"time_s,volts,amps\n0,11.1,3\n1,11.0,drei\n2,11.0,4\n", "log.csv:3: amps: 'drei' is not a number; allowed are numbers"),
        (b"time_s,volts,amps\n0,11.1,3\n1,11.0,3A\n2,11.0,4\n", "log.csv:3: amps: '3A' is not a number"),
        (b"time_s,volts,amps\n0,11.1,3\n1,11.0,inf\n2,11.0,4\n", "log.csv:3: amps: inf A is out of range"),
        (b"time_s,volts [V],amps\n0,11100,3\n1,11000,4\n", "log.csv:2: volts [V]: 11100 V is out of range"),
        (b"time_s,volts,amps\n0,11.1,3\n1,11.0\n2,11.0,4\n", "log.csv:3: row: has 2 cells where the others have 3"),
        (b"time_s,volts,amps\n0,5,11,1,3\n1,5,11,0,4\n", "decimal comma"),
        (b"time_s,volts,amps\n0,11.1,3\n1,11.0,4\n0,11.1,3\n", "log.csv:4: time_s: goes back from 1 s to 0 s"),
        (b"time_s,volts,amps\n5,11.1,3\n5,11.0,4\n", "is the same in every row"),
        (b"time_s,volts,amps\n5,11.1,3\n", "needed are two"),
        (b"time_s,volts,amps\n0,11.1,3\n1e12,11.0,4\n", "log.csv:3: time_s: is 1e+12 s after the start; allowed are up to 6,000,000 s"),
        (b"time_s,volts,amps\n-1.5e308,11.1,3\n1.5e308,11.0,4\n", "log.csv:3: time_s: is inf s after the start"),
        (b"time_s,volts,amps\n0,11.1,\n1,11.0,\n", "amps: holds no number"),
        (b"time,volts,amps\n0:00:01,11.1,3\n0:00:0x,11.0,4\n", "log.csv:3: time: '0:00:0x' is not a time"),
        (b"time_s,volts,amps\n" + b"1" * 200_000 + b",11,3\n", "is longer than"),
        (b"time_s,volts,amps\n0,11,3\n" + b"9" * 3_000_000, "is longer than"),
        (b'time_s,volts,amps\n0,11.1,3\n1,"11.0,3\n2,11,4\n', "quotation marks"),
        (b"pack,started_at,time_s,volts,amps\na,2025-05-14T13:20Z,0,11,3\nb,2025-05-14T13:20Z,1,11,3\n", "pack: holds 2 different values"),
    ],
)
def test_what_cannot_be_is_refused_in_a_clear_line(tmp_path: Path, text: bytes, said: str) -> None:
    with pytest.raises(ImportRefusedError) as refusal:
        read_trace(log(tmp_path, text))
    assert said in str(refusal.value)
    assert all(len(line) < 700 for line in str(refusal.value).splitlines())


@pytest.mark.parametrize(
    ("reading", "said"),
    [
        (TraceReading(columns={"speed": "x"}), "speed"),
        (TraceReading(units={"volts": "kV"}), "allowed are V and mV"),
        (TraceReading(columns={"cell_2": "volts"}), "none left out"),
        (TraceReading(discharge="down"), "allowed are positive and negative"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(tmp_path: Path, reading: TraceReading, said: str) -> None:
    with pytest.raises(FieldErrors, match=said):
        read_trace(log(tmp_path, table("time_s,volts,amps", [f"{t},{v},{i}" for t, v, i in rows()])), reading)


def test_columns_a_person_names_win(tmp_path: Path) -> None:
    lines = [f"{t},{i},{v},0" for t, v, i in rows()]
    path = log(tmp_path, table("x,ch 1,ch 2,Current [A]", lines))
    found = read_trace(
        path, TraceReading(columns={"time": "x", "volts": "Ch 2", "amps": "ch 1"}, units={"time": "s"}, discharge="positive")
    )
    assert found.preview.highest_a == 40.0
    with pytest.raises(ImportRefusedError, match="no line of the file has the columns named"):
        read_trace(path, TraceReading(columns={"time": "y"}))


def test_files_of_the_logbook_are_no_recordings(tmp_path: Path) -> None:
    assert not is_trace(log(tmp_path, "pack,started_at,run_min,before_v,loaded_v,loaded_a,mean_a\nA,2025-05-14T13:20,12,8.3,7.0,40,20\n"))
    assert not is_trace(log(tmp_path, "time_s,supply_v,motor\n0,7.4,running\n"))
    assert is_trace(log(tmp_path, "Zeit;U;I\n0;11,1;3\n"))


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.one_of(st.binary(max_size=300), st.text(max_size=300).map(lambda text: ("time_s,volts,amps\n" + text).encode("utf-8", "replace")))
)
def test_rubbish_is_read_or_refused_but_never_breaks(tmp_path: Path, text: bytes) -> None:
    path = log(tmp_path, text)
    try:
        found = read_trace(path)
    except TrackerError:
        pass
    else:
        assert (np.diff(found.time_s) > 0).all()
        assert found.time_s[0] == 0.0
