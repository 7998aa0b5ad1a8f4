"""Capacity and resistance over time: what is drawn where, and what is said of it (limits, from histories whose truth is known)."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

import pytest

from dashboard.figures import capacity, resistance
from dashboard.figures.capacity import capacity_of, capacity_sentence, capacity_table, has_capacity
from dashboard.figures.over_time import MOST_OF_A_CELL, cell_series, lowest_under_others, panels_height_px, value_range
from dashboard.figures.resistance import has_resistance, resistance_sentence, resistance_table
from dashboard.figures.thinning import MOST_ROWS, evenly
from tests.dashboard.fakes import NOW, guess, made_learning
from tests.dashboard.figures.checked import checked
from tracker.domain.health import PackLearning
from tracker.domain.pack import Pack
from tracker.domain.results import NotEnough

capacity_figure = checked(capacity.capacity_figure)
resistance_figure = checked(resistance.resistance_figure)


def days(count: int) -> list[datetime]:
    return [NOW - timedelta(days=count - index) for index in range(count)]


def learning(cells: int = 3, outings: int = 12, *, weak: int | None = 2) -> PackLearning:
    pack = Pack(name="Tug 1", chemistry="lipo", series=cells, capacity_ah=4.0)
    return made_learning(pack, days(outings), weak=weak)


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("count", "most", "places"),
    [(3, 5, [0, 1, 2]), (9, 3, [0, 4, 8]), (9, 2, [0, 8]), (9, 1, [8]), (9, 0, []), (0, 4, []), (5, 4, [0, 1, 3, 4])],
)
def test_thinning_keeps_both_ends(count: int, most: int, places: list[int]) -> None:
    assert evenly(count, most) == places


@pytest.mark.parametrize("cells", [1, 3, 6, 14])
def test_every_cell_has_a_panel_and_all_are_on_one_scale(cells: int) -> None:
    known = learning(cells)
    for figure in (capacity_figure(known.health, known.points), resistance_figure(known.health, known.points)):
        axes = [figure.layout["yaxis" if cell == 1 else f"yaxis{cell}"] for cell in range(1, cells + 1)]
        assert len({axis.range for axis in axes}) == 1
        assert axes[0].domain[1] == 1
        assert axes[-1].domain[0] == 0
        assert all(above.domain[0] > below.domain[1] for above, below in pairwise(axes))
        assert next(note.text for note in figure.layout.annotations if note.x == 0).startswith("<b>Cell 1</b>")


def test_a_band_holds_its_line_and_the_line_is_what_is_known() -> None:
    known = learning(2)
    band, others, line = capacity_figure(known.health, known.points).data[:3]
    values = [point.capacity_ah[0] for point in known.points]
    assert list(line.y) == pytest.approx([1000 * one.value for one in values if not isinstance(one, NotEnough)])
    high, low = band.y[: len(line.y)], band.y[len(line.y) :][::-1]
    assert all(below < middle < above for below, middle, above in zip(low, line.y, high, strict=True))
    assert list(others.y) == pytest.approx(
        [1000 * one.value for point in known.points if not isinstance(one := point.capacity_ah[1], NotEnough)]
    )


def test_rated_and_the_conventional_end_are_marked_in_every_panel() -> None:
    known = learning(3)
    figure = capacity_figure(known.health, known.points)
    assert sorted(shape.y0 for shape in figure.layout.shapes) == pytest.approx([3200] * 3 + [4000] * 3)
    assert list(figure.layout.yaxis3.ticktext) == ["rated", "80\u00a0%"]


def test_one_cell_has_no_others_and_one_outing_has_arms_for_a_band() -> None:
    known = learning(1, 5)
    single = replace(known, points=known.points[-1:])
    [line] = capacity_figure(single.health, single.points).data
    assert line.error_y.array[0] == pytest.approx(1000 * (known.points[-1].capacity_ah[0].high - known.points[-1].capacity_ah[0].value))  # type: ignore[union-attr]
    first, last = (datetime.fromisoformat(end) for end in capacity_figure(single.health, single.points).layout.xaxis.range)
    assert last - first == timedelta(days=1)


def test_what_is_not_known_is_left_out() -> None:
    known = learning(2)
    point = replace(known.points[3], capacity_ah=(NotEnough("no"), known.points[3].capacity_ah[1]))
    points = (*known.points[:3], point, *known.points[4:])
    first, second = cell_series(points, capacity_of, 2)
    assert point.at not in first.at
    assert second.others[3] is None
    assert len(second.at) == len(points)


def test_nothing_known_is_told_apart_from_something() -> None:
    little = learning(2, 3)
    assert not has_capacity(little.points)
    assert not has_resistance(little.points)
    assert has_capacity(learning().points)
    assert has_resistance(learning().points)


def test_very_long_histories_are_thinned() -> None:
    known = learning(6, 1000)
    assert all(len(one.at) == MOST_OF_A_CELL for one in cell_series(known.points, capacity_of, 6))
    assert cell_series(known.points, capacity_of, 6)[0].at[-1] == known.points[-1].at
    assert len(capacity_table(known.health, known.points)[1]) == MOST_ROWS
    assert sum(len(trace.x) for trace in capacity_figure(known.health, known.points).data) <= 6 * 4 * MOST_OF_A_CELL
    assert panels_height_px(14) < 14 * panels_height_px(1)


def test_a_very_wide_interval_does_not_squeeze_the_values() -> None:
    known = learning(2)
    wide = replace(known.points[0], capacity_ah=(guess(4.0, 40.0, -100), known.points[0].capacity_ah[1]))
    low, high = value_range(cell_series((wide, *known.points[1:]), capacity_of, 2), [4.0, 3.2])
    assert low > 1.5
    assert high < 6.5


def test_small_changes_look_small() -> None:
    known = learning(1, 6)
    low, high = value_range(cell_series(known.points, capacity_of, 1))
    assert high - low > 0.2 * 4.0


def test_the_sentence_names_the_weakest_cell_then_and_now() -> None:
    said = plain(capacity_sentence(learning(outings=30).health, learning(outings=30).points))
    assert said.startswith("Cell 2 holds 3,490 ± 90 mAh, 10 % less than the others. On 21 Aug 2025 it held 3,600 ± 300 mAh, 9 % less")


def test_no_cell_is_named_where_none_stands_out() -> None:
    alike = learning(weak=None)
    said = plain(capacity_sentence(alike.health, alike.points))
    assert said.startswith(
        "No cell stands out as the weakest: the lowest holds 3,890 ± 120 mAh, the highest 3,920 ± 120 mAh. The lowest lies 1 % under"
    )
    assert "cell 2" not in said.lower()


def test_one_cell_is_spoken_of_alone() -> None:
    known = learning(1)
    assert plain(capacity_sentence(known.health, known.points)).startswith("The cell holds 3,920 ± 120 mAh, 98 % of rated. On ")
    assert plain(resistance_sentence(known.health)).startswith(
        "The cell has 5.2 ± 0.4 mΩ at 25 °C and half charge. It is 1.12 ± 0.05 times"
    )


def test_resistances_are_ranked_only_where_their_intervals_allow() -> None:
    health = learning(2).health
    assert plain(resistance_sentence(health)).startswith("No cell stands out: the highest has ")
    apart = tuple(replace(cell, resistance_ohm=guess(0.004 * cell.cell, 0.0002)) for cell in health.cells)
    said = plain(resistance_sentence(replace(health, cells=apart)))
    assert said.startswith("The highest is cell 2 with 8.0 ± 0.2 mΩ, the lowest cell 1 with 4.0 ± 0.2 mΩ, at 25 °C and half charge.")


def test_the_tables_hold_the_same_numbers_newest_first() -> None:
    known = learning(2)
    columns, rows = capacity_table(known.health, known.points)
    assert columns == ["Up to the run of", "Runs so far", "Cell 1", "Cell 2", "Lowest under the others"]
    assert [row[1] for row in rows] == [str(number) for number in range(12, 0, -1)]
    assert plain(rows[0][-1]) == "cell 2: 10 %"
    assert resistance_table(known.health, known.points)[0] == columns[:-1]
    assert capacity_table(learning(1).health, learning(1).points)[0] == ["Up to the run of", "Runs so far", "Cell 1"]


def test_the_lowest_is_measured_against_the_mean_of_the_others() -> None:
    lowest = lowest_under_others([guess(4.0, 0.1), guess(2.7, 0.1), guess(2.0, 0.1)])
    assert lowest is not None
    assert lowest == pytest.approx((3, 1 - 2.0 / 3.35))
    assert lowest_under_others([guess(4.0, 0.1), NotEnough("no")]) is None


def test_words_beside_a_long_value_give_way_on_a_phone() -> None:
    known = learning(2)
    leaning = replace(known.health.cells[1], capacity_ah=replace(guess(3.5, 0.4), low=3.4))
    for cells, said in ((known.health.cells, True), ((known.health.cells[0], leaning), False)):
        heads = [note.text for note in capacity_figure(replace(known.health, cells=cells), known.points).layout.annotations]
        assert any("weakest" in head for head in heads) is said
