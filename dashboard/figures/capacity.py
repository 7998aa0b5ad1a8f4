"""What each cell holds over time, against the rated capacity and the line at 80 % of it."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.figures.chart import Chart
from dashboard.figures.over_time import Level, cell_series, lowest_under_others, over_time_table, panels_figure
from dashboard.figures.template import GREY, ORANGE
from dashboard.theme import day, interval, percent
from tracker.domain.conventions import WORN_HEALTH
from tracker.domain.health import HealthPoint, PackHealth
from tracker.domain.results import Estimate, Quantity


def capacity_of(point: HealthPoint) -> tuple[Quantity, ...]:
    """What is drawn here of a point."""
    return point.capacity_ah


def has_capacity(points: Sequence[HealthPoint]) -> bool:
    """Whether any is known, ever."""
    return any(isinstance(one, Estimate) for point in points for one in point.capacity_ah)


def capacity_figure(health: PackHealth, points: Sequence[HealthPoint]) -> Chart:
    """One panel a cell with its 90 % interval, the rated capacity and the conventional end at 80 % of it."""
    levels = [Level(health.rated_ah, "rated", GREY), Level(WORN_HEALTH * health.rated_ah, percent(WORN_HEALTH), ORANGE, "dot")]
    return panels_figure(
        cell_series(points, capacity_of, len(health.cells)),
        "charge",
        [cell.capacity_ah for cell in health.cells],
        levels=levels,
        words={} if health.weakest_cell is None else {health.weakest_cell: "weakest"},
    )


def capacity_sentence(health: PackHealth, points: Sequence[HealthPoint]) -> str:
    """What the chart shows: the weakest cell against the others, now and at the start."""
    known = [cell.capacity_ah for cell in health.cells if isinstance(cell.capacity_ah, Estimate)]
    first = next((point for point in points if any(isinstance(one, Estimate) for one in point.capacity_ah)), None)
    before = first if first is not None and first is not points[-1] else None
    if not known:
        return "What each cell holds is not known now."
    if len(health.cells) == 1:
        said = [f"The cell holds {interval(known[0], 'charge')}, {percent(known[0].value / health.rated_ah)} of rated."]
        if before is not None and isinstance(was := before.capacity_ah[0], Estimate):
            said.append(f"On {day(before.at)} it held {interval(was, 'charge')}.")
        return " ".join(said)
    weakest = health.cells[health.weakest_cell - 1].capacity_ah if health.weakest_cell is not None else None
    if isinstance(weakest, Estimate) and health.weakest_cell is not None:
        return " ".join(
            [f"Cell {health.weakest_cell} holds {interval(weakest, 'charge')}{_less(health)}.", *_weakest_before(health, before)]
        )
    lowest, highest = (interval(pick(known, key=lambda one: one.value), "charge") for pick in (min, max))
    alike = f"No cell stands out as the weakest: the lowest holds {lowest}, the highest {highest}."
    return " ".join([alike, *_spread_before(health, before)])


def capacity_table(health: PackHealth, points: Sequence[HealthPoint]) -> tuple[list[str], list[list[str]]]:
    """Columns and rows of the same numbers, with what lies between the lowest cell and the others."""
    more = [("Lowest under the others", _spread_word)] if len(health.cells) > 1 else []
    return over_time_table(points, capacity_of, len(health.cells), "charge", more)


def _less(health: PackHealth) -> str:
    ratio = health.weakest_ratio
    return f", {percent(1 - ratio.value)} less than the others" if isinstance(ratio, Estimate) and ratio.value < 1 else ""


def _weakest_before(health: PackHealth, before: HealthPoint | None) -> list[str]:
    """How the weakest cell stood at the start of what is known."""
    if before is None or health.weakest_cell is None:
        return []
    was = before.capacity_ah[health.weakest_cell - 1]
    if not isinstance(was, Estimate):
        return []
    lowest = lowest_under_others(before.capacity_ah)
    less = f", {percent(lowest[1])} less than the others" if lowest is not None and lowest[0] == health.weakest_cell else ""
    return [f"On {day(before.at)} it held {interval(was, 'charge')}{less}."]


def _spread_before(health: PackHealth, before: HealthPoint | None) -> list[str]:
    """How far apart the cells are and were, where none is named."""
    now = lowest_under_others([cell.capacity_ah for cell in health.cells])
    if now is None:
        return []
    was = lowest_under_others(before.capacity_ah) if before is not None else None
    then = f"; on {day(before.at)} it lay {percent(was[1])} under" if was is not None and before is not None else ""
    return [f"The lowest lies {percent(now[1])} under the mean of the others{then}."]


def _spread_word(point: HealthPoint) -> str:
    lowest = lowest_under_others(point.capacity_ah)
    return "no estimate" if lowest is None else f"cell {lowest[0]}: {percent(lowest[1])}"
