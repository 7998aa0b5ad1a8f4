"""The depth history: what is drawn where (limits, from runs whose depth is known)."""

from __future__ import annotations

import random

import pytest

from dashboard.figures import depth
from dashboard.figures.depth import SHAPES, depth_points, depth_sentence, depth_table
from tests.dashboard.fakes import club_services, guess, made_run
from tests.dashboard.figures.checked import checked
from tracker.domain.pack import Pack
from tracker.domain.results import GRADES, AssessedRun, Estimate

depth_figure = checked(depth.depth_figure)

PACK = Pack(name="Tug 1", chemistry="lipo", series=2, capacity_ah=3.2)


def runs(count: int, *, told: bool = True) -> list[AssessedRun]:
    rng = random.Random(4)
    return [made_run(PACK, index, rng, told=told) for index in reversed(range(count))]


def test_depth_is_what_is_not_left_and_its_interval_turns_round() -> None:
    point = depth_points(runs(1))[0]
    soc = runs(1)[0].estimate.cells[0].soc_after
    assert isinstance(soc, Estimate)
    assert (point.depth.value, point.depth.low, point.depth.high) == pytest.approx((1 - soc.value, 1 - soc.high, 1 - soc.low))


def test_a_cell_has_a_panel_and_a_run_a_mark_with_both_arms() -> None:
    figure = depth_figure(runs(9), 2, 0.2)
    assert len(figure.data) == 2
    for trace in figure.data:
        assert list(trace.x) == list(range(9))
        assert all(arm >= 0 for arm in (*trace.error_y.array, *trace.error_y.arrayminus))


def test_every_grade_has_a_shape_of_its_own() -> None:
    assert set(SHAPES) == set(GRADES)
    assert len(set(SHAPES.values())) == len(GRADES)


def test_empty_is_at_the_bottom_and_the_reserve_line_where_the_reserve_begins() -> None:
    figure = depth_figure(runs(3), 2, 0.25)
    assert figure.layout.yaxis.range[0] > figure.layout.yaxis.range[1]
    lines = [shape for shape in figure.layout.shapes if shape.type == "line"]
    assert [line.y0 for line in lines] == [0.75, 0.75]


def test_runs_without_an_estimate_are_counted_not_drawn() -> None:
    mixed = [*runs(2, told=False), *runs(3)]
    assert {point.index for point in depth_points(mixed)} == {2, 3, 4}
    assert "2 runs without enough to say are left out." in depth_sentence(mixed, 5)
    assert "not one has enough" in depth_sentence(runs(2, told=False), 2)


def test_the_sentence_names_the_deepest_cell_and_how_many_went_too_deep() -> None:
    some = runs(8)
    sentence = depth_sentence(some, 30).replace("\u00a0", " ")
    assert sentence.startswith("The last 8 of 30 runs, one mark a run with its 90 % interval. 2 went too deep")
    assert "Deepest: cell 2, 99 %" in sentence


def test_the_table_holds_the_same_numbers_newest_first() -> None:
    some = runs(3)
    columns, rows = depth_table(some, 2)
    assert columns == ["Run", "Cell 1", "Cell 2"]
    assert len(rows) == 3
    assert rows[0] != rows[-1]
    newest = some[-1].estimate.cells[0].soc_after
    assert isinstance(newest, Estimate)
    assert f"{(1 - newest.value) * 100:.0f}" in rows[0][1]


def test_no_name_reaches_the_chart_where_its_own_markup_would_be_read() -> None:
    record = club_services().packs.record("Groomer left")
    assert "alert" not in str(depth_figure(record.runs, 3, 0.2).to_json())


def test_a_run_of_unknown_grade_is_drawn_all_the_same() -> None:
    from dataclasses import replace

    one = runs(1)[0]
    cell = replace(one.estimate.cells[0], grade=None, soc_after=guess(0.5, 0.1))
    ungraded = AssessedRun(run=one.run, estimate=replace(one.estimate, cells=(cell,)))
    assert list(depth_figure([ungraded], 1, 0.2).data[0].y) == [0.5]
