"""Internal resistance of each cell over time, referred to 25 °C and half charge."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.figures.chart import Chart
from dashboard.figures.over_time import cell_series, over_time_table, panels_figure
from dashboard.theme import interval, temperature
from tracker.domain.health import HealthPoint, PackHealth
from tracker.domain.results import Estimate, Quantity


def resistance_of(point: HealthPoint) -> tuple[Quantity, ...]:
    """What is drawn here of a point."""
    return point.resistance_ohm


def has_resistance(points: Sequence[HealthPoint]) -> bool:
    """Whether any is known, ever."""
    return any(isinstance(one, Estimate) for point in points for one in point.resistance_ohm)


def resistance_figure(health: PackHealth, points: Sequence[HealthPoint]) -> Chart:
    """One panel a cell with its 90 % interval."""
    now = [cell.resistance_ohm for cell in health.cells]
    return panels_figure(cell_series(points, resistance_of, len(health.cells)), "resistance", now, words={})


def resistance_sentence(health: PackHealth) -> str:
    """What the chart shows: the highest and the lowest cell, and how much it has grown."""
    known = [(cell.cell, cell.resistance_ohm) for cell in health.cells if isinstance(cell.resistance_ohm, Estimate)]
    if not known:
        return "What resistance each cell has is not known now."
    at = f"at {temperature(298.15)} and half charge"
    if len(known) == 1:
        said = [f"{'The cell' if len(health.cells) == 1 else f'Cell {known[0][0]}'} has {interval(known[0][1], 'resistance')} {at}."]
    else:
        highest, lowest = max(known, key=lambda pair: pair[1].value), min(known, key=lambda pair: pair[1].value)
        top, bottom = interval(highest[1], "resistance"), interval(lowest[1], "resistance")
        if highest[1].low > lowest[1].high:
            said = [f"The highest is cell {highest[0]} with {top}, the lowest cell {lowest[0]} with {bottom}, {at}."]
        else:
            said = [f"No cell stands out: the highest has {top}, the lowest {bottom}, {at}."]
    growth = health.outlook.resistance_growth
    if isinstance(growth, Estimate):
        said.append(f"{'On average it' if len(health.cells) > 1 else 'It'} is {interval(growth, 'times')} what it was at the start.")
    return " ".join(said)


def resistance_table(health: PackHealth, points: Sequence[HealthPoint]) -> tuple[list[str], list[list[str]]]:
    """Columns and rows of the same numbers."""
    return over_time_table(points, resistance_of, len(health.cells), "resistance")
