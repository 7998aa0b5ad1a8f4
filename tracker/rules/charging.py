"""Charges that went over the limit, outside the temperature window, or into a pack that must not be charged."""

from __future__ import annotations

from tracker.domain.harm import CHARGED_COLD, CHARGED_HOT, CHARGED_WHEN_EMPTY, OVER_CHARGE_LIMIT
from tracker.domain.results import Finding
from tracker.rules import wording
from tracker.rules.evidence import ChargeEvidence
from tracker.rules.spread import spread_words
from tracker.rules.voltages import filled, lowest, per_cell
from tracker.units import celsius_from_kelvin

OVER_V = 0.02
"""What a charger and a meter may be off together. From memory."""
FAR_OVER_V = 0.05
"""Above full charge by this: 4.25 V for a 4.20 V cell, the upper limit charging voltage of IEC 62133-2:2017 annex A (from memory)."""
NEVER_ABOVE_C = 60.0
"""No lithium cell is charged above this: the guideline that charger circuits follow (JEITA and BAJ, 2007)."""
_PLATING = "J. Energy Storage 163 (2026) 122197: at −10 °C lithium plates for most of a charge"


def over_charge_limit(evidence: ChargeEvidence) -> Finding | None:
    """Some cell ended the charge above its full-charge voltage."""
    family = evidence.chemistry.family
    if family == "nickel":
        return None  # a nickel charge ends on a fall or on heat, not at a voltage
    full = evidence.chemistry["full_v"]
    high = max(per_cell(evidence.charge.end_v, evidence.pack), key=lambda cell: cell.voltage_v, default=None)
    over_v = 0.0 if high is None else round(high.voltage_v - full, 4)
    allowed_v = OVER_V if family == "lithium" else FAR_OVER_V
    if high is None or over_v <= allowed_v:
        return None
    far = family == "lithium" and over_v > FAR_OVER_V
    to_do = (
        f"Do not use or charge it. {wording.CHECK_FIRST} Find out what the charger was set to before it charges anything again. "
        "If the number was mistyped, correct the charge."
        if far
        else "Check the charger's setting and its leads against a second meter. If the maker allows more than that, go by the maker."
    )
    return Finding(
        rule=OVER_CHARGE_LIMIT,
        severity="stop" if far else "caution",
        subject=evidence.pack.name,
        message=f"{high.name} ended the charge at {wording.volts(high.voltage_v)}; full is {wording.volts(full)}. {to_do}",
        why=(
            "A lithium cell charged above its limit can swell, heat up and burn, at once or later. "
            if family == "lithium"
            else "It gasses and dries out. "
        )
        + wording.standing_of(evidence.chemistry, "full_v"),
        source=wording.source_of(evidence.chemistry, "full_v"),
        at=evidence.charge.finished_at,
    )


def charged_cold(evidence: ChargeEvidence) -> Finding | None:
    """The pack was colder than it may be while charged."""
    low = evidence.chemistry["charge_low"]
    pack_k = evidence.charge.pack_k
    if pack_k is None or celsius_from_kelvin(pack_k) >= low - 0.01:
        return None
    lithium = evidence.chemistry.family == "lithium"
    to_do = f"Do not use or charge it as it is. {wording.CHECK_FIRST} Warm packs" if lithium else "Warm it"
    return Finding(
        rule=CHARGED_COLD,
        severity="stop" if lithium else "caution",
        subject=evidence.pack.name,
        message=f"{evidence.pack.name} was charged at {wording.celsius(pack_k)}; the least is {wording.degrees(low)}. "
        f"{to_do} to room temperature before the next charge.",
        why=(
            "Charged in the cold, metal lithium grows inside the cell; it does not go away again and can short it. "
            if lithium
            else "A cold cell takes charge badly. "
        )
        + wording.standing_of(evidence.chemistry, "charge_low"),
        source=_PLATING if lithium else wording.source_of(evidence.chemistry, "charge_low"),
        at=evidence.charge.finished_at,
    )


def charged_hot(evidence: ChargeEvidence) -> Finding | None:
    """The pack was hotter than it may be while charged."""
    high = evidence.chemistry["charge_high"]
    pack_k = evidence.charge.pack_k
    if pack_k is None or celsius_from_kelvin(pack_k) <= high + 0.01:
        return None
    stop = evidence.chemistry.family == "lithium" and celsius_from_kelvin(pack_k) > NEVER_ABOVE_C
    to_do = f"Do not use or charge it. {wording.CHECK_FIRST}" if stop else "Let a pack cool to room temperature before charging it."
    return Finding(
        rule=CHARGED_HOT,
        severity="stop" if stop else "caution",
        subject=evidence.pack.name,
        message=f"{evidence.pack.name} was charged at {wording.celsius(pack_k)}; the most is {wording.degrees(high)}. {to_do} "
        "If it grew hot by itself while charging, it is harmed: do not use it again.",
        why=f"Charging a hot cell ages it, and a cell that heats itself can burn. {wording.standing_of(evidence.chemistry, 'charge_high')}",
        source=wording.source_of(evidence.chemistry, "charge_high"),
        at=evidence.charge.finished_at,
    )


def charged_below_limit(evidence: ChargeEvidence) -> Finding | None:
    """The pack was charged although a cell had rested below the voltage under which it must not be."""
    limit = evidence.chemistry["no_recharge_v"]
    cell = lowest(evidence.rested_before_v, evidence.pack)
    if cell is None or cell.voltage_v >= limit:
        return None
    lithium = evidence.chemistry.family == "lithium"
    to_do = (
        f"Do not use it and do not charge it again. {wording.SET_ASIDE}"
        if lithium
        else "Do not use it before its maker or a qualified person has judged it."
    )
    return Finding(
        rule=CHARGED_WHEN_EMPTY,
        severity="stop",
        subject=evidence.pack.name,
        message=f"{evidence.pack.name} was charged although {cell.name[0].lower()}{cell.name[1:]} had rested at "
        f"{wording.volts(cell.voltage_v)}; below {wording.volts(limit)} it must not be. {to_do}",
        why=("A lithium cell that lay this low can be shorted inside by dissolved copper, and a full one burns worse. " if lithium else "")
        + wording.standing_of(evidence.chemistry, "no_recharge_v"),
        source="Hendricks et al., J. Electrochem. Soc. 167 (2020), doi:10.1149/1945-7111/ab697a" if lithium else None,
        at=evidence.charge.finished_at,
    )


def uneven_when_charged(evidence: ChargeEvidence) -> Finding | None:
    """The cells of a lithium pack ended a full charge apart."""
    if evidence.chemistry.family != "lithium" or not filled(evidence.charge, evidence.pack, evidence.chemistry):
        return None
    words = spread_words("at the end of the charge", evidence.charge.end_v, evidence.pack, evidence.chemistry)
    if words is None:
        return None
    return Finding(
        rule="cell-spread",
        severity="caution",
        subject=evidence.pack.name,
        message=f"{words} Charge it with the balance lead connected, and stay with it.",
        why="A pack charged out of balance takes its highest cell over the limit and its lowest into the ground. "
        "How far apart is too far is common practice.",
        at=evidence.charge.finished_at,
    )
