"""The pack's own rested voltage against what is left, over its chemistry's, with the readings that shaped it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from dashboard.figures.chart import Chart, Trace, scatter
from dashboard.figures.template import BAND, BLUE, EDGE, GREEN, GREY, ORANGE, PURPLE
from dashboard.figures.thinning import MOST_ROWS, evenly
from dashboard.theme import NB, clock, counted, number, percent, volts
from tracker.domain.health import CurveReading, OwnCurve

HEIGHT_PX, LEGEND_ROW_PX = 400, 20
MOST_READINGS = 600
MANY_READINGS, MARK_PX, SMALL_MARK_PX = 150, 8, 6
SET_ASIDE = 0.25
"""A reading that counted less than this is drawn hollow and faint."""
SAME_V = 0.005
"""Curves closer than this are called the same: no pocket meter tells them apart."""
SAID_FROM, SAID_TO = 0.1, 0.95
"""Outside of this range the ends of the curves, both steep, would always be the farthest apart."""
LABELLED_CELLS = 6
"""More cells than this are named in a legend, for words at the readings would hide each other."""

# Without the shapes that mean how deep a run went.
SYMBOLS = (
    "circle",
    "square",
    "triangle-up",
    "star",
    "cross",
    "hexagon",
    "bowtie",
    "pentagon",
    "triangle-left",
    "hourglass",
    "triangle-right",
    "star-square",
    "diamond-tall",
    "star-triangle-up",
)
"""One a cell; beyond as many cells as this they begin anew, and the hover text tells the cell."""
COLOURS = (GREEN, ORANGE, PURPLE)
MEAN_SYMBOL = "diamond-wide"
LEADER = {"arrowcolor": GREY, "arrowwidth": 1, "arrowhead": 0, "standoff": 4}
NAMED_AT = 0.6
"""Charge left at which the curves are named."""
OWN, CHEMISTRY = "this pack", "its chemistry"


def curve_figure(curve: OwnCurve) -> Chart:
    """The chemistry's curve dashed, the pack's own with its band, and a mark for every reading."""
    figure = Chart()
    cells = by_cell(curve.readings)
    size = MARK_PX if len(curve.readings) <= MANY_READINGS else SMALL_MARK_PX
    figure.add_traces([_band(curve), *(_marks(cell, readings, size) for cell, readings in cells.items())])
    figure.add_traces([_line(curve.family_v, curve, CHEMISTRY, GREY, "dash"), _line(curve.own_v, curve, OWN, BLUE, "solid")])
    low, high = voltage_range(curve)
    _name_lines(figure, curve)
    if 1 < len(cells) <= LABELLED_CELLS:
        _name_cells(figure, cells, low, high)
    legend = {"orientation": "h", "yanchor": "bottom", "y": 1.0, "x": 0, "itemclick": False, "itemdoubleclick": False}
    figure.update_layout(showlegend=len(cells) > LABELLED_CELLS, legend=legend)
    figure.update_layout(yaxis={"range": [low, high], "ticksuffix": f"{NB}V", "nticks": 6, "tickformat": ".2f"})
    figure.update_xaxis(
        range=[-2, 102], tickvals=[0, 20, 40, 60, 80, 100], ticktext=["empty", *(percent(n / 5) for n in range(1, 5)), "full"]
    )
    return figure


def by_cell(readings: Sequence[CurveReading]) -> dict[int | None, list[CurveReading]]:
    """The readings of each cell, of no more than can be seen and those set aside last; those of pack totals after all cells."""
    cells: dict[int | None, list[CurveReading]] = defaultdict(list)
    for place in evenly(len(readings), MOST_READINGS):
        cells[readings[place].cell].append(readings[place])
    # A legend shows a cell's first mark: it is one that counted, where there is one.
    return {
        cell: sorted(cells[cell], key=lambda reading: reading.weight < SET_ASIDE)
        for cell in sorted(cells, key=lambda cell: (cell is None, cell or 0))
    }


def curve_height_px(curve: OwnCurve) -> int:
    """Height that leaves room for a legend of two columns, as a phone has them."""
    cells = len({reading.cell for reading in curve.readings})
    return HEIGHT_PX + (math.ceil(cells / 2) * LEGEND_ROW_PX if cells > LABELLED_CELLS else 0)


def voltage_range(curve: OwnCurve) -> tuple[float, float]:
    """Everything that counted; a mistyped reading far off does not squeeze the rest."""
    known = [*curve.family_v, *curve.own_low_v, *curve.own_high_v, *(one.voltage_v for one in curve.readings if one.weight >= SET_ASIDE)]
    room = 0.04 * max(max(known) - min(known), 0.05)
    return min(known) - room, max(known) + room


def curve_sentence(curve: OwnCurve) -> str:
    """What the chart shows: where the pack differs most from its chemistry, and what that means for a reading."""
    if not curve.learned:
        return (
            "Not learned yet: this is the chemistry's curve, in a band as wide as makes differ. Rested voltages of runs after which "
            "the charger's count was written down teach the pack's own."
        )
    aside = sum(reading.weight < SET_ASIDE for reading in curve.readings)
    source = f"Shaped by {counted(len(curve.readings) - aside, 'reading')}" + (f", with {aside:,} more set aside" if aside else "") + "."
    soc, gap_v, own_v, family_soc = farthest(curve)
    if abs(gap_v) < SAME_V:
        return f"This pack rests within {1000 * SAME_V:.0f}{NB}mV of its chemistry's curve. {source}"
    return (
        f"With {percent(soc)} left this pack rests at {volts(own_v)}, {abs(1000 * gap_v):.0f}{NB}mV {'above' if gap_v > 0 else 'below'} its "
        f"chemistry's curve, on which that voltage would mean {percent(family_soc)}. {source}"
    )


def farthest(curve: OwnCurve) -> tuple[float, float, float, float]:
    """Where own curve and chemistry's differ most: charge left, the difference, own voltage, and what the chemistry reads into it."""
    inside = [place for place, soc in enumerate(curve.soc) if SAID_FROM <= soc <= SAID_TO] or list(range(len(curve.soc)))
    place = max(inside, key=lambda at: abs(curve.own_v[at] - curve.family_v[at]))
    own_v = curve.own_v[place]
    return curve.soc[place], own_v - curve.family_v[place], own_v, float(np.interp(own_v, curve.family_v, curve.soc))


def curve_table(curve: OwnCurve) -> tuple[list[str], list[list[str]]]:
    """Columns and rows of the curves, a row for every tenth of the charge."""
    rows = []
    for tenth in range(10, -1, -1):
        own, low, high, family = (
            float(np.interp(tenth / 10, curve.soc, each)) for each in (curve.own_v, curve.own_low_v, curve.own_high_v, curve.family_v)
        )
        rows.append([percent(tenth / 10), volts(own), f"{number(low, 2)} to {volts(high)}", volts(family)])
    return ["Charge left", "This pack", f"90{NB}% interval", "Its chemistry"], rows


def reading_table(curve: OwnCurve) -> tuple[list[str], list[list[str]]]:
    """Columns and rows of the readings, newest first; of very many, so many evenly chosen."""
    rows = []
    for place in reversed(evenly(len(curve.readings), MOST_ROWS)):
        one = curve.readings[place]
        rows.append([clock(one.at), _cell_words(one.cell), volts(one.voltage_v), percent(one.soc), _counted(one.weight)])
    return ["Run of", "Cell", "Rested voltage", "Charge left by all else", "Counted"], rows


def _band(curve: OwnCurve) -> Trace:
    left = [100 * soc for soc in curve.soc]
    return scatter(
        x=left + left[::-1],
        y=[*curve.own_high_v, *curve.own_low_v[::-1]],
        mode="lines",
        fill="toself",
        fillcolor=BAND,
        line={"width": 1, "color": EDGE},
        hoverinfo="skip",
        showlegend=False,
    )


def _line(voltages: Sequence[float], curve: OwnCurve, name: str, colour: str, dash: str) -> Trace:
    return scatter(
        x=[100 * soc for soc in curve.soc],
        y=voltages,
        mode="lines",
        line={"width": 2.4, "color": colour, "dash": dash},
        text=[f"{name}: {volts(voltage)} with {percent(soc)} left" for voltage, soc in zip(voltages, curve.soc, strict=True)],
        hovertemplate="%{text}<extra></extra>",
        showlegend=False,
    )


def _marks(cell: int | None, readings: Sequence[CurveReading], size: int) -> Trace:
    symbol = MEAN_SYMBOL if cell is None else SYMBOLS[(cell - 1) % len(SYMBOLS)]
    colour = GREEN if cell is None else COLOURS[(cell - 1) % len(COLOURS)]
    aside = [reading.weight < SET_ASIDE for reading in readings]
    return scatter(
        x=[100 * reading.soc for reading in readings],
        y=[reading.voltage_v for reading in readings],
        mode="markers",
        name=_cell_words(cell),
        marker={
            "symbol": [f"{symbol}-open" if out else symbol for out in aside],
            "size": size,
            "color": colour,
            "opacity": [0.6 if out else 0.85 for out in aside],
            "line": {"width": 1, "color": colour},
        },
        text=[
            f"{_cell_words(reading.cell)}, {clock(reading.at)}<br>{volts(reading.voltage_v)} with {percent(reading.soc)} left by all else"
            f"<br>{_counted(reading.weight)}"
            for reading in readings
        ],
        hovertemplate="%{text}<extra></extra>",
    )


def _name_lines(figure: Chart, curve: OwnCurve) -> None:
    """Each curve's name beside it: the upper one's above, the lower one's below, where a rising curve leaves room."""
    place = min(range(len(curve.soc)), key=lambda at: abs(curve.soc[at] - NAMED_AT))
    above = curve.own_v[place] >= curve.family_v[place]
    for voltages, name, up in ((curve.own_v, OWN, above), (curve.family_v, CHEMISTRY, not above)):
        away = {"ax": -46, "ay": -44, "xanchor": "right"} if up else {"ax": 24, "ay": 62, "xanchor": "center"}
        figure.add_annotation(x=100 * curve.soc[place], y=voltages[place], text=f"<b>{name}</b>", **away, **LEADER)


def _name_cells(figure: Chart, cells: dict[int | None, list[CurveReading]], low: float, high: float) -> None:
    """Each cell's name with a line to the emptiest of its readings, in a column where no curve runs."""
    named = []
    for cell, readings in cells.items():
        kept = [reading for reading in readings if reading.weight >= SET_ASIDE] or readings
        named.append((min(kept, key=lambda reading: reading.soc), cell))
    named.sort(key=lambda pair: pair[0].voltage_v, reverse=True)
    for place, (reading, cell) in enumerate(named):
        height = low + (high - low) * (0.05 + 0.075 * (len(named) - 1 - place))
        figure.add_annotation(
            x=100 * reading.soc, y=reading.voltage_v, text=_cell_words(cell), xanchor="left", ax=62, ay=height, ayref="y", **LEADER
        )


def _cell_words(cell: int | None) -> str:
    return "mean of the cells" if cell is None else f"cell {cell}"


def _counted(weight: float) -> str:
    return "set aside" if weight < SET_ASIDE else f"counted {percent(weight)}"
