"""How a pack stands by its history as text and back, to the last digit.

The text is a JSON list without names; what stands where is said by the functions below, each with its way back beside it.
What is found about the pack and what to do next are not kept with it: they change with the clock.
"""

from __future__ import annotations

import json
from typing import Any

from tracker.domain.health import CellHealth, Outlook, PackHealth
from tracker.domain.results import Estimate, NotEnough, Quantity
from tracker.store.columns import ImpossibleValueError


def text_of(health: PackHealth) -> str:
    """Return how a pack stands as text; a number that is none is refused."""
    outlook = health.outlook
    parts = [
        [health.pack, health.chemistry, health.rated_ah, health.runs, health.deep_runs],
        [_out(health.capacity_ah), _out(health.health), health.weakest_cell, _out(health.weakest_ratio), health.restless_cells],
        [
            [cell.cell, _out(cell.capacity_ah), _out(cell.resistance_ohm), _out(cell.excess_loss_per_month)]
            for cell in health.cells
        ],
        [
            outlook.full_cycles, outlook.weighted_cycles, _out(outlook.fade_per_100_cycles), _out(outlook.runs_left),
            _out(outlook.resistance_growth), outlook.sentence,
        ],
    ]  # fmt: skip
    try:
        return json.dumps(parts, separators=(",", ":"), allow_nan=False)
    except ValueError as error:
        raise ImpossibleValueError(f"how a pack stands holds something that is not a number and cannot be stored ({error}).") from error


def health_of(text: str) -> PackHealth:
    """Return how a pack stands from the text that was made of it."""
    (pack, chemistry, rated, runs, deep), (capacity, share, weakest, ratio, restless), cells, outlook = json.loads(text)
    full, weighted, fade, left, growth, sentence = outlook
    return PackHealth(
        pack=pack,
        chemistry=chemistry,
        rated_ah=rated,
        runs=runs,
        deep_runs=deep,
        capacity_ah=_in(capacity),
        health=_in(share),
        cells=tuple(
            CellHealth(cell=number, capacity_ah=_in(ah), resistance_ohm=_in(ohm), excess_loss_per_month=_in(loss))
            for number, ah, ohm, loss in cells
        ),
        weakest_cell=weakest,
        weakest_ratio=_in(ratio),
        restless_cells=tuple(restless),
        outlook=Outlook(
            full_cycles=full,
            weighted_cycles=weighted,
            fade_per_100_cycles=_in(fade),
            runs_left=_in(left),
            resistance_growth=_in(growth),
            sentence=sentence,
        ),
        next="",
    )


def _out(quantity: Quantity) -> Any:
    return quantity.why if isinstance(quantity, NotEnough) else [quantity.value, quantity.low, quantity.high, quantity.sd]


def _in(found: Any) -> Quantity:
    if isinstance(found, str):
        return NotEnough(found)
    value, low, high, sd = found
    return Estimate(value=value, low=low, high=high, sd=sd)
