"""What a pack's history says, in a few lines: what it holds, which cell is weak or restless, how it fades and how far that goes."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.components.quantity import quantity_text
from dashboard.theme import Measure, counted, interval, mah, number, percent, unbroken
from tracker.domain.conventions import WORN_HEALTH
from tracker.domain.health import CellHealth, PackHealth
from tracker.domain.results import Estimate, Quantity

KNOWN_NOW = "Everything here uses all that is known now; what is said of an earlier day may change as more is written down."
CONVENTION = (
    f"That a pack is worn out at {percent(WORN_HEALTH)} of its rated capacity is a convention (IEEE 1188, USABC), not a limit: it may "
    "serve on beyond, or be unfit before. A pack that is swollen, hot, leaking or knocked is out of use, whatever it holds."
)


def history_panel(health: PackHealth) -> Component:
    """The sentence first, then the numbers behind it."""
    return html.Div(
        [
            html.P(unbroken(health.outlook.sentence), className="standing"),
            html.Dl([html.Div([html.Dt(term), html.Dd(value)]) for term, value in history_facts(health)], className="facts"),
            html.P(KNOWN_NOW, className="quiet"),
            html.P(CONVENTION, className="quiet"),
        ]
    )


def history_facts(health: PackHealth) -> list[tuple[str, str]]:
    """Term and value of each line; what the sentence has given the reason for already is left out."""
    several, outlook = len(health.cells) > 1, health.outlook
    facts = [("Holds" + (", by its weakest cell" if several else ""), _holds(health))]
    if several:
        facts += [("Weakest cell", weakest_words(health)), ("Restless cells", restless_words(health))]
    lines: list[tuple[str, Quantity, Measure, str]] = [
        ("Fade", outlook.fade_per_100_cycles, "rate", " of its capacity in 100 weighted cycles"),
        (f"Runs left to {percent(WORN_HEALTH)} of rated", outlook.runs_left, "runs", " like those so far"),
        ("Resistance", outlook.resistance_growth, "times", " what it was at the start"),
    ]
    for term, quantity, measure, after in lines:
        if isinstance(quantity, Estimate):
            facts.append((term, interval(quantity, measure) + after))
        elif quantity.why.rstrip(".") not in outlook.sentence:
            facts.append((term, unbroken(quantity.why)))
    drawn = f"{cycles_words(outlook.full_cycles)}; {_cycles(outlook.weighted_cycles)} when each run is weighted by its depth"
    return [*facts, ("Charge drawn", drawn)]


def weakest_words(health: PackHealth) -> str:
    """Which cell is the weakest and how far it lies under the others."""
    if health.weakest_cell is None:
        return "none stands out"
    ratio = health.weakest_ratio
    if not isinstance(ratio, Estimate):
        return f"cell {health.weakest_cell}"
    less = Estimate(value=1 - ratio.value, low=1 - ratio.high, high=1 - ratio.low, sd=ratio.sd)
    return f"cell {health.weakest_cell}: holds {interval(less, 'share')} less than the mean of the others"


def restless_words(health: PackHealth) -> str:
    """Which cells lose more than their neighbours by standing, and how much."""
    if not health.restless_cells:
        return "none seen"
    cells = {cell.cell: cell for cell in health.cells}
    return "; ".join(_loss_words(number, cells.get(number)) for number in health.restless_cells)


def cycles_words(cycles: float) -> str:
    """Charge drawn in full cycles: 23.4 full cycles."""
    return counted(1, "full cycle") if _cycles(cycles) == "1" else f"{_cycles(cycles)} full cycles"


def _loss_words(number: int, cell: CellHealth | None) -> str:
    if cell is None or not isinstance(cell.excess_loss_per_month, Estimate):
        return f"cell {number} loses more by standing than the others"
    return f"cell {number} loses {interval(cell.excess_loss_per_month, 'rate')} a month more by standing than the others"


def _holds(health: PackHealth) -> str:
    if not isinstance(health.capacity_ah, Estimate):
        return quantity_text(health.capacity_ah, "charge")
    share = f", {interval(health.health, 'share')} of the rated {mah(health.rated_ah)}" if isinstance(health.health, Estimate) else ""
    return interval(health.capacity_ah, "charge") + share


def _cycles(cycles: float) -> str:
    """One decimal while that is worth something."""
    return number(cycles, 0 if cycles >= 100 or cycles == round(cycles) else 1)
