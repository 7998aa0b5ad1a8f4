"""Tables, numbers and words for people."""

from __future__ import annotations

import io
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.cli.output import Column, clean, counted, finding_lines, quantity, table, whole, width_of, wrapped
from tracker.cli.progress import LINE_EVERY_S, QUIET_S, ProgressLine
from tracker.domain.results import Estimate, Finding, NotEnough


class Terminal(io.StringIO):
    """Standard output that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def test_columns_line_up_whatever_the_letters() -> None:
    lines = table([Column(title="pack"), Column(title="mAh", right=True)], [["電池", "1,200"], ["Tug", "80"], ["e\u0301", "7"]])
    assert {width_of(line) for line in lines} == {11}


def test_a_terminal_gets_narrower_columns_and_a_file_the_whole_text(monkeypatch: pytest.MonkeyPatch) -> None:
    columns, rows = [Column(title="pack", shrinks=True), Column(title="notes", shrinks=True)], [["a" * 70, "b" * 70]]
    assert max(map(len, table(columns, rows))) == 142
    monkeypatch.setattr(sys, "stdout", Terminal())
    monkeypatch.setenv("COLUMNS", "80")
    narrow = table(columns, rows)
    assert max(map(len, narrow)) == 80
    assert narrow[1].count("…") == 2


def test_a_quantity_has_half_its_interval_behind_it() -> None:
    assert quantity(Estimate(value=3910.4, low=3830, high=3990, sd=49), whole) == "3,910 ± 80"
    assert quantity(NotEnough("nothing known"), whole) == "?"


def test_small_numbers_have_no_minus_before_a_nought() -> None:
    assert whole(-0.2) == "0"
    assert whole(-0.7) == "-1"


def test_a_finding_says_how_pressing_what_and_why() -> None:
    finding = Finding(
        rule="r", severity="stop", subject="Tug A", message="Do not charge it.", why="It was at 2.1 V", source="Maker's sheet"
    )
    assert finding_lines(finding, subject=True) == ["stop: Tug A: Do not charge it.", "  why: It was at 2.1 V (Maker's sheet)"]


def test_counts_agree_with_their_word() -> None:
    assert (counted(1, "run"), counted(1204, "run")) == ("1 run", "1,204 runs")


@given(st.text())
def test_nothing_that_steers_a_terminal_gets_through(text: str) -> None:
    assert all(letter.isprintable() for letter in clean(text))
    assert len(clean(text)) == len(text)
    assert all(width_of(line) <= 200 for line in wrapped(clean(text)))


def test_short_work_says_nothing_and_long_work_now_and_then(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    now = [100.0]
    monkeypatch.setattr("tracker.cli.progress.monotonic", lambda: now[0])
    with ProgressLine() as progress:
        progress("runs assessed", 1, 1000)
        now[0] += QUIET_S
        progress("runs assessed", 500, 1000)
        progress("runs assessed", 501, 1000)
        now[0] += LINE_EVERY_S
        progress("reading", 70000, None)
    out, err = capsys.readouterr()
    assert out == ""
    assert err.splitlines() == ["runs assessed: 500 of 1,000", "reading: 70,000"]


def test_a_terminal_line_is_redrawn_and_wiped(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [100.0]
    terminal = Terminal()
    monkeypatch.setattr("tracker.cli.progress.monotonic", lambda: now[0])
    monkeypatch.setattr(sys, "stderr", terminal)
    with ProgressLine() as progress:
        for done in (10, 20):
            now[0] += QUIET_S
            progress("reading", done, 20)
    assert terminal.getvalue().split("\r")[1:3] == ["reading: 10 of 20", "reading: 20 of 20"]
    assert terminal.getvalue().endswith("\r")
