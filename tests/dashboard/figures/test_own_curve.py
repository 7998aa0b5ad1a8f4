"""The pack's own voltage curve: what is drawn and what is said of it (limits, from curves whose difference is known)."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from dashboard.figures import own_curve
from dashboard.figures.own_curve import (
    LABELLED_CELLS,
    LEGEND_ROW_PX,
    MOST_READINGS,
    SYMBOLS,
    by_cell,
    curve_height_px,
    curve_sentence,
    curve_table,
    farthest,
    reading_table,
    voltage_range,
)
from dashboard.figures.thinning import MOST_ROWS
from tests.dashboard.fakes import NOW, made_curve
from tests.dashboard.figures.checked import checked
from tracker.domain.health import CurveReading, OwnCurve
from tracker.domain.pack import Pack

curve_figure = checked(own_curve.curve_figure)

STRAIGHT = OwnCurve(
    soc=(0.0, 0.5, 1.0),
    family_v=(3.0, 3.5, 4.0),
    own_v=(3.0, 3.54, 4.0),
    own_low_v=(2.9, 3.52, 3.9),
    own_high_v=(3.1, 3.56, 4.1),
    readings=(),
    learned=True,
)


def curve(cells: int = 2, outings: int = 20, *, learned: bool = True) -> OwnCurve:
    days: list[datetime] = [NOW - timedelta(days=outings - index) for index in range(outings)]
    return made_curve(Pack(name="Tug 1", chemistry="lipo", series=cells, capacity_ah=4.0), days, learned=learned)


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def reading(voltage_v: float, weight: float, cell: int | None = 1) -> CurveReading:
    return CurveReading(at=NOW, cell=cell, soc=0.4, voltage_v=voltage_v, weight=weight)


@pytest.mark.parametrize("cells", [1, 2, 6, 14])
def test_every_cell_has_a_shape_of_its_own(cells: int) -> None:
    shapes = [trace.marker.symbol[0].removesuffix("-open") for trace in curve_figure(curve(cells)).data if trace.mode == "markers"]
    assert len(shapes) == len(set(shapes)) == cells


def test_no_shape_means_a_depth_and_a_cell_at_once() -> None:
    from dashboard.figures.depth import SHAPES

    assert set(SYMBOLS).isdisjoint(SHAPES.values())


def test_cells_are_named_at_their_marks_or_where_there_are_many_in_a_legend() -> None:
    few, many = curve_figure(curve(LABELLED_CELLS)), curve_figure(curve(LABELLED_CELLS + 1))
    assert {f"cell {cell}" for cell in range(1, LABELLED_CELLS + 1)} <= {note.text for note in few.layout.annotations}
    assert (few.layout.showlegend, many.layout.showlegend) == (False, True)
    assert {trace.name for trace in many.data if trace.mode == "markers"} == {f"cell {cell}" for cell in range(1, LABELLED_CELLS + 2)}


def test_a_legend_shows_each_cell_s_mark_as_one_that_counted_and_has_room() -> None:
    many = curve(8, 40)
    assert many.readings[0].cell == 1
    assert all(not trace.marker.symbol[0].endswith("-open") for trace in curve_figure(many).data if trace.mode == "markers")
    assert curve_height_px(many) == curve_height_px(curve(2)) + 4 * LEGEND_ROW_PX


def test_a_reading_set_aside_is_hollow_and_says_so() -> None:
    [trace] = [
        trace for trace in curve_figure(replace(STRAIGHT, readings=(reading(3.4, 0.9), reading(3.9, 0.02)))).data if trace.mode == "markers"
    ]
    assert list(trace.marker.symbol) == ["circle", "circle-open"]
    assert trace.marker.opacity[0] > trace.marker.opacity[1]
    assert "counted 90" in trace.text[0]
    assert "set aside" in trace.text[1]


def test_a_pack_total_is_called_the_mean_of_the_cells() -> None:
    one = replace(STRAIGHT, readings=(reading(3.4, 0.9, None), reading(3.4, 0.9, 2)))
    assert list(by_cell(one.readings)) == [2, None]
    assert reading_table(one)[1][1][1] == "mean of the cells"


def test_a_mistyped_voltage_does_not_squeeze_the_rest() -> None:
    low, high = voltage_range(replace(STRAIGHT, readings=(reading(34.0, 0.0), reading(0.3, 0.0))))
    assert 2.8 < low < 2.9
    assert 4.1 < high < 4.2


def test_the_sentence_says_what_a_voltage_means_in_this_pack() -> None:
    one = replace(STRAIGHT, readings=(reading(3.4, 0.9), reading(3.9, 0.02)))
    assert farthest(one) == pytest.approx((0.5, 0.04, 3.54, 0.54))
    assert plain(curve_sentence(one)) == (
        "With 50 % left this pack rests at 3.54 V, 40 mV above its chemistry's curve, on which that voltage would mean 54 %. "
        "Shaped by 1 reading, with 1 more set aside."
    )
    below = replace(one, own_v=(3.0, 3.46, 4.0))
    assert "40 mV below its chemistry's curve, on which that voltage would mean 46 %" in plain(curve_sentence(below))


def test_curves_no_meter_tells_apart_are_called_the_same() -> None:
    assert plain(curve_sentence(replace(STRAIGHT, own_v=(3.0, 3.502, 4.0)))).startswith(
        "This pack rests within 5 mV of its chemistry's curve."
    )


def test_a_curve_not_learned_says_what_teaches_it() -> None:
    assert curve_sentence(curve(learned=False)).startswith("Not learned yet: this is the chemistry's curve")


def test_very_many_readings_are_thinned() -> None:
    long = curve(6, 200)
    assert len(long.readings) == 2400
    assert sum(len(trace.x) for trace in curve_figure(long).data if trace.mode == "markers") == MOST_READINGS
    assert len(reading_table(long)[1]) == MOST_ROWS


def test_the_table_runs_from_full_to_empty() -> None:
    columns, rows = curve_table(STRAIGHT)
    assert [plain(column) for column in columns] == ["Charge left", "This pack", "90 % interval", "Its chemistry"]
    assert [plain(part) for part in rows[5]] == ["50 %", "3.54 V", "3.52 to 3.56 V", "3.50 V"]
    assert len(rows) == 11
