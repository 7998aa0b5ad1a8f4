"""How far apart the cells of a pack stand, in volts and, where the rested voltage tells it, in charge."""

from __future__ import annotations

from tracker.chemistry import Chemistry
from tracker.domain.pack import Pack
from tracker.domain.session import Volts
from tracker.rules import wording
from tracker.rules.voltages import curve, per_cell

CHARGED_SPREAD_V = 0.05
PARTLY_SPREAD_V = 0.10
"""Allowed between the highest and lowest rested cell of a full and of a partly used pack. Common practice."""
SPREAD_SOC = 0.10
"""On a flat part of the curve few millivolts are much charge: a tenth of the capacity apart is too far. Common practice."""
LEAST_SOC = 0.03
"""On a steep part of the curve many millivolts are little charge: less than this apart is how packs are made. From memory."""
READABLE_V = 0.03
"""Closer than this two cells cannot be told apart with a hand-held meter or cell checker (±5 to ±30 mV, from memory)."""
_CHARGED_SOC = 0.9


def spread_words(when: str, reading: Volts, pack: Pack, chemistry: Chemistry) -> str | None:
    """Return a sentence when the cells stand too far apart; None when they do not or the reading does not tell."""
    cells = per_cell(reading, pack)
    if len(cells) < 2:
        return None
    low = min(cells, key=lambda cell: cell.voltage_v)
    high = max(cells, key=lambda cell: cell.voltage_v)
    apart_v = high.voltage_v - low.voltage_v
    if not _too_far(low.voltage_v, high.voltage_v, sum(cell.voltage_v for cell in cells) / len(cells), chemistry):
        return None
    return (
        f"{low.name} stood {wording.volts(apart_v)} below {high.name.lower()} {when} "
        f"({wording.volts(low.voltage_v)} against {wording.volts(high.voltage_v)})."
    )


def _too_far(low_v: float, high_v: float, mean_v: float, chemistry: Chemistry) -> bool:
    apart_v = round(high_v - low_v, 4)
    if chemistry.family != "lithium":
        return apart_v > PARTLY_SPREAD_V  # a nickel or lead cell's rested voltage hardly tells its charge
    if apart_v <= READABLE_V:
        return False
    known = curve(chemistry)
    apart_soc = float(known.soc(high_v) - known.soc(low_v))
    if apart_soc > SPREAD_SOC:
        return True
    allowed_v = CHARGED_SPREAD_V if float(known.soc(mean_v)) >= _CHARGED_SOC else PARTLY_SPREAD_V
    return apart_v > allowed_v and apart_soc > LEAST_SOC
