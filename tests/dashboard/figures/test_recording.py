"""The chart of a recording: few enough points, nothing worth seeing lost, the right words, and any part of it."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from dashboard.components.recording import CHART, LEAST_SPAN_MIN, asked_span, recording_section, span_said, zoomed
from dashboard.figures.recording import levels_of, lowest_of, recording_figure, recording_sentence, recording_table
from tests.tracker.made_up_traces import drive
from tracker.domain.results import Estimate, EvidenceVote
from tracker.domain.session import Run
from tracker.domain.trace import Trace

TRACE = drive(minutes=2.0)
WHOLE = [0.0, 10.0]


def made(pack_v: list[float], current_a: list[float], cells: list[list[float]] | None = None) -> Trace:
    """A few readings, a minute apart."""
    return Trace(
        pack="Tug",
        started_at=datetime(2025, 5, 1, tzinfo=UTC),
        time_s=60.0 * np.arange(len(pack_v), dtype=np.float64),
        pack_v=np.array(pack_v),
        current_a=np.array(current_a),
        cell_v=np.zeros((len(pack_v), 0)) if cells is None else np.array(cells),
    )


def test_every_cell_has_a_line_and_the_lowest_is_marked_by_more_than_colour() -> None:
    figure = recording_figure(TRACE, levels_of(3, 3, 3.0, (9.6,)))
    assert [trace.name for trace in figure.data] == ["Cell 1", "Cell 2", "Cell 3, the lowest", "Current"]
    assert figure.data[2].line.width > max(figure.data[0].line.width, figure.data[1].line.width)
    assert len({trace.line.dash for trace in figure.data[:2]}) == 2
    assert all(len(trace.x) == len(TRACE.time_s) and trace.x.dtype == np.float32 for trace in figure.data)
    assert figure.layout.xaxis.range == pytest.approx((0.0, float(TRACE.time_s[-1]) / 60))


def test_the_words_are_those_of_the_readings() -> None:
    trace = made([8.3, 7.1, 7.9], [0.0, 41.24, 3.0], [[4.15, 4.15], [3.62, 3.48], [3.95, 3.95]])
    counted = Estimate(value=0.51, low=0.49, high=0.53, sd=0.012)
    votes = [EvidenceVote(kind="trace", used_ah=counted, weight=1.0, disagrees=False, words="")]
    words = recording_sentence(trace, votes).replace("\u00a0", " ")
    assert "Recorded over 2.00 min" in words
    assert "510 ± 20 mAh" in words
    assert "Cell 2 was lowest, 3.48 V at 1.00 min" in words
    assert "highest current was 41.2 A, at 1.00 min" in words
    assert lowest_of(trace) == (1, 3.48, 60.0)


def test_without_cells_the_pack_stands_against_the_floor_of_all_of_them() -> None:
    trace = made([8.3, 5.9, 7.9], [0.0, 40.0, 3.0])
    levels = levels_of(0, 2, 3.0, (3.2, 6.4))
    assert [(level.words.replace("\u00a0", " "), level.value_v) for level in levels] == [
        ("floor", 6.0),
        ("cutoff 3.20 V", pytest.approx(6.4)),
        ("cutoff 6.40 V", pytest.approx(6.4)),
    ]
    figure = recording_figure(trace, levels)
    assert [one.name for one in figure.data] == ["Pack", "Current"]
    assert figure.layout.yaxis.range[0] < 5.9
    assert "The pack" not in recording_sentence(trace, [])
    assert "Pack was lowest" in recording_sentence(trace, [])


def test_beside_cells_a_cutoff_of_the_pack_is_one_of_a_cell() -> None:
    assert [level.value_v for level in levels_of(3, 3, 3.0, (9.6, 3.3))] == pytest.approx([3.0, 3.3, 3.2])


@pytest.mark.parametrize("missing", ["pack_v", "current_a"])
def test_what_was_not_recorded_is_left_out_and_said(missing: str) -> None:
    nothing = [np.nan] * 3
    trace = made(nothing if missing == "pack_v" else [8.3, 7.1, 7.9], nothing if missing == "current_a" else [0.0, 40.0, 3.0])
    recording_figure(trace, levels_of(0, 2, 3.0, ()))
    words = recording_sentence(trace, [])
    assert ("lowest" in words) is (missing == "current_a")
    assert ("highest" in words) is (missing == "pack_v")
    _, rows = recording_table(trace)
    assert all("not recorded" in row for row in rows)


def test_the_table_is_short_and_has_both_ends() -> None:
    columns, rows = recording_table(TRACE)
    assert columns == ["Time", "Cell 1", "Cell 2", "Cell 3", "Current"]
    assert len(rows) <= 200
    assert rows[0][0].startswith("0.00")
    assert rows[-1][0].startswith(f"{TRACE.time_s[-1] / 60:.2f}")


@pytest.mark.parametrize(
    ("triggered", "relayout", "shown", "expected"),
    [
        (f"{CHART}-closer", None, [0, 10], [2.5, 7.5]),
        (f"{CHART}-wider", None, [2.5, 7.5], [0, 10]),
        (f"{CHART}-wider", None, [0, 6], [0, 10]),
        (f"{CHART}-later", None, [2, 4], [3, 5]),
        (f"{CHART}-later", None, [9, 10], [9, 10]),
        (f"{CHART}-earlier", None, [1, 4], [0, 3]),
        (f"{CHART}-whole", None, [1, 4], [0, 10]),
        (CHART, {"xaxis.range[0]": 3.0, "xaxis.range[1]": 4.5}, [0, 10], [3, 4.5]),
        (CHART, {"xaxis.range[0]": -3, "xaxis.range[1]": 4}, [0, 10], [0, 7]),
        (CHART, {"xaxis.autorange": True}, [3, 4], [0, 10]),
        (CHART, {"autosize": True}, [3, 4], None),
        (CHART, {"xaxis.range[0]": "2025", "xaxis.range[1]": None}, [3, 4], None),
        (CHART, None, [3, 4], None),
    ],
)
def test_which_part_is_asked_for(
    triggered: str, relayout: dict[str, object] | None, shown: list[float], expected: list[float] | None
) -> None:
    asked = asked_span(triggered, relayout, shown, WHOLE)
    assert asked == (None if expected is None else pytest.approx(expected))


def test_no_part_is_too_short_to_see() -> None:
    low, high = asked_span(CHART, {"xaxis.range[0]": 4.0, "xaxis.range[1]": 4.0}, WHOLE, WHOLE) or (0, 0)
    assert high - low == pytest.approx(LEAST_SPAN_MIN)
    assert low < 4.0 < high


def test_a_part_brings_its_readings_and_says_where_it_lies() -> None:
    patch: Any = zoomed(TRACE, [0.5, 1.0])
    places = {tuple(one["location"]) for one in patch.to_plotly_json()["operations"]}
    assert ("layout", "xaxis", "range") in places
    assert {place[1] for place in places if place[0] == "data"} == {0, 1, 2, 3}
    assert span_said([0.5, 1.0], WHOLE).replace("\u00a0", " ") == "Shown: 0.50 min to 1.00 min."
    assert span_said(WHOLE, WHOLE) == "The whole recording is shown."


def test_the_section_names_its_chart_for_those_who_do_not_see_it() -> None:
    run = Run(pack="Tug 1", started_at=TRACE.started_at, run_s=120.0, cutoff_v=(9.6,))
    section: Any = recording_section(TRACE, run, (), 3, 3.0)
    text = str(section.to_plotly_json())
    assert "Chart of the voltages and the current recorded during this run" in text
