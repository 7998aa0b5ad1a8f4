"""The sections of a pack's page that show what its history teaches: in words, and as charts of capacity, resistance and its curve."""

from __future__ import annotations

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.components.empty import empty_state
from dashboard.components.figure import figure_frame, graph
from dashboard.components.history_panel import history_panel
from dashboard.components.quantity import reason
from dashboard.components.table import folded_table
from dashboard.figures.capacity import capacity_figure, capacity_sentence, capacity_table, has_capacity
from dashboard.figures.over_time import panels_height_px
from dashboard.figures.own_curve import curve_figure, curve_height_px, curve_sentence, curve_table, reading_table
from dashboard.figures.resistance import has_resistance, resistance_figure, resistance_sentence, resistance_table
from dashboard.figures.thinning import MOST_ROWS
from dashboard.theme import NB, mah, percent
from tracker.domain.conventions import WORN_HEALTH
from tracker.domain.health import HealthPoint, OwnCurve, PackHealth, PackLearning
from tracker.domain.results import NotEnough

HEADING = "What its history says"


def learned_sections(learning: PackLearning) -> list[Component]:
    """Everything that is known, and in place of what is not, what to write down for it."""
    health, points = learning.health, learning.points
    parts: list[Component] = []
    if isinstance(health.capacity_ah, NotEnough) and not says_something(health):
        parts.append(nothing_yet(health.capacity_ah))
    else:
        parts.append(html.Section([html.H2(HEADING), history_panel(health)]))
    if has_capacity(points):
        parts.append(capacity_section(health, points))
    if has_resistance(points):
        parts.append(resistance_section(health, points))
    if learning.curve.readings:
        parts.append(curve_section(learning.curve))
    return parts


def says_something(health: PackHealth) -> bool:
    """Whether anything about the cells is known, if not what they hold."""
    about_cells = (quantity for cell in health.cells for quantity in (cell.resistance_ohm, cell.excess_loss_per_month))
    return any(not isinstance(quantity, NotEnough) for quantity in (health.weakest_ratio, *about_cells))


def nothing_yet(why: NotEnough) -> Component:
    """No capacity has been learned: what it takes."""
    return empty_state(
        HEADING,
        "Write down what the charger put back after a few runs and this shows what each cell holds, how that changes, and which cell is "
        f"the weakest. Not enough so far: {reason(why).rstrip('.')}.",
        (("Write down a charge", "pack-tracker log charge --help"),),
    )


def capacity_section(health: PackHealth, points: Sequence[HealthPoint]) -> Component:
    """What each cell holds, over time."""
    columns, rows = capacity_table(health, points)
    key = [
        f"line in its band: the cell, with its 90{NB}% interval",
        *(["dashes: mean of the other cells"] if len(health.cells) > 1 else []),
        f"rated: {mah(health.rated_ah)}",
        f"dots: {percent(WORN_HEALTH)} of that, {mah(WORN_HEALTH * health.rated_ah)}, by convention worn out",
    ]
    return html.Section(
        [
            html.H2("What each cell holds"),
            figure_frame(
                graph("pack-capacity", capacity_figure(health, points), panels_height_px(len(health.cells))),
                capacity_sentence(health, points),
                table_of("Capacity of each cell over time", columns, rows, len(points)),
                words_key(key),
                description="Chart of the capacity of each cell over time",
            ),
        ]
    )


def resistance_section(health: PackHealth, points: Sequence[HealthPoint]) -> Component:
    """Resistance of each cell, over time."""
    columns, rows = resistance_table(health, points)
    key = [
        f"line in its band: the cell, with its 90{NB}% interval",
        *(["dashes: mean of the other cells"] if len(health.cells) > 1 else []),
    ]
    return html.Section(
        [
            html.H2("Resistance of each cell"),
            figure_frame(
                graph("pack-resistance", resistance_figure(health, points), panels_height_px(len(health.cells))),
                resistance_sentence(health),
                table_of("Resistance of each cell over time", columns, rows, len(points)),
                words_key(key),
                description="Chart of the resistance of each cell over time",
            ),
        ]
    )


def curve_section(curve: OwnCurve) -> Component:
    """The pack's own voltage curve over its chemistry's."""
    key = [
        f"line in its band: this pack, with its 90{NB}% interval",
        "dashes: its chemistry",
        "marks: rested voltages" + (", a shape a cell" if len({one.cell for one in curve.readings}) > 1 else ""),
        "hollow and faint: set aside, as it fits nothing else",
    ]
    tables = html.Div(
        [
            folded_table("The curves", *curve_table(curve)),
            table_of("The readings that shaped it", *reading_table(curve), len(curve.readings)),
        ]
    )
    return html.Section(
        [
            html.H2("Its own voltage curve"),
            figure_frame(
                graph("pack-curve", curve_figure(curve), curve_height_px(curve)),
                curve_sentence(curve),
                tables,
                words_key(key),
                description="Chart of rested voltage against charge left, of this pack and of its chemistry",
            ),
        ]
    )


def table_of(label: str, columns: Sequence[str], rows: Sequence[Sequence[str]], of: int) -> Component:
    """A table of numbers, and how many rows were left out where not all are in it."""
    table = folded_table(label, columns, rows)
    if of <= MOST_ROWS:
        return table
    return html.Div([html.P(f"{len(rows)} of {of:,} rows, evenly chosen.", className="quiet"), table])


def words_key(meanings: Sequence[str]) -> Component:
    """What lines and marks mean, in words."""
    return html.Ul([html.Li(meaning) for meaning in meanings], className="key")
