"""What a pack's history teaches: a cell weaker than the others, one that loses charge by standing, and a pack that is worn."""

from __future__ import annotations

from tracker.domain.conventions import CAPACITY_SURENESS, SPENT_HEALTH, WORN_HEALTH, WORN_RESISTANCE, WORN_SOURCE
from tracker.domain.health import PackHealth
from tracker.domain.results import Estimate, Finding, NotEnough, Quantity
from tracker.physics.uncertainty import probability_below
from tracker.rules import wording
from tracker.rules.evidence import PackEvidence

WEAK_RATIO = 0.95
"""A weakest cell there always is; it is cause for caution below this share of the others. Makers sort cells to within
a few percent (from memory)."""

_EMPTIES_FIRST = {
    "lithium": "The same charge passes through all cells, so the weakest is empty first and is driven under its floor of {floor} a cell "
    "while the pack's total still looks right; that harms it further, and a lithium cell harmed so can catch fire later.",
    "nickel": "The same charge passes through all cells, so the weakest is empty first and is reversed by the others while the pack's total "
    "still looks right, which harms it for good.",
    "lead": "The same charge passes through all cells, so the weakest is empty first while the total still looks right, and it grows sulphate.",
}
_LEVEL = {
    "lithium": "Bring the pack level with a balance charge as its maker says, staying beside it, and measure every cell again after some days. "
    "Do not leave the pack unattended while it charges, and keep it where it could burn without harm. If it gets warm while it stands, "
    "smells or swells, stop using it and do not charge it. The maker's instructions and local rules come first.",
    "nickel": "Charge the pack gently and watched as its maker says, and measure every cell again after some days. If it gets warm while it "
    "stands or leaks, stop using it. The maker's instructions come first.",
    "lead": "Charge the pack gently and watched as its maker says, and measure it again after some days. If it gets warm while it stands, "
    "swells or leaks, stop using it. The maker's instructions come first.",
}
_LOSES = {
    "lithium": "A cell that loses charge by itself can have a small short inside, which may grow and heat it, above all while it is charged",
    "nickel": "A cell that loses charge by itself is often near its end, and is the first to be reversed in a run",
    "lead": "A cell that loses charge by itself stands less than full, which harms lead, and may have a short inside",
}


def weakest_cell(evidence: PackEvidence) -> Finding | None:
    """One cell holds less than the others."""
    health = _in_use(evidence)
    if health is None or health.weakest_cell is None:
        return None
    ratio, family = health.weakest_ratio, evidence.chemistry.family
    slight = isinstance(ratio, Estimate) and ratio.value >= WEAK_RATIO
    floor = wording.volts(evidence.chemistry["floor_v"])
    return Finding(
        rule="weakest-cell",
        severity="note" if slight else "caution",
        subject=evidence.pack.name,
        message=f"Cell {health.weakest_cell} of {evidence.pack.name} holds less than the {_others(evidence)}{_less(ratio)}. "
        "Go by that cell and not by the pack's total: end runs while it still has its reserve, set timer, alarm or cutoff for that, "
        "and measure every cell after a run.",
        why=f"{_EMPTIES_FIRST[family].format(floor=floor)} From what difference on this calls for caution is recalled from memory.",
    )


def restless_cell(evidence: PackEvidence) -> Finding | None:
    """Some cell loses more charge than its neighbours while the pack stands."""
    health = _in_use(evidence)
    if health is None or not health.restless_cells:
        return None
    cells, family = health.restless_cells, evidence.chemistry.family
    lose, their = ("loses", "its") if len(cells) == 1 else ("lose", "their")
    return Finding(
        rule="restless-cell",
        severity="caution",
        subject=evidence.pack.name,
        message=f"{wording.cells(cells)} of {evidence.pack.name} {lose} more charge than {their} neighbours while the pack stands"
        f"{_excess(health)}. {_LEVEL[family]}",
        why=f"{_LOSES[family]} (from memory). What to do about it is common practice.",
    )


def worn(evidence: PackEvidence) -> Finding | None:
    """The pack holds less than 80 % of rated, and not so little that it is spent."""
    held = _held(evidence)
    if held is None or not _surely_under(held, WORN_HEALTH) or _surely_under(held, SPENT_HEALTH):
        return None
    return Finding(
        rule="worn-capacity",
        severity="note",
        subject=evidence.pack.name,
        message=f"{_holds(evidence, held)}, less than the {wording.percent(WORN_HEALTH)} that by convention end a battery's useful life. "
        "Set timer and alarm by what it holds now, and think of replacing it.",
        why=f"{wording.percent(WORN_HEALTH)} of rated is a convention, made for cars and for batteries that stand in buildings and not for "
        "model packs. It says nothing about safety: a pack that holds more is no safer for it.",
        source=WORN_SOURCE,
    )


def spent(evidence: PackEvidence) -> Finding | None:
    """The pack holds less than 60 % of rated."""
    held = _held(evidence)
    if held is None or not _surely_under(held, SPENT_HEALTH):
        return None
    return Finding(
        rule="spent-capacity",
        severity="caution",
        subject=evidence.pack.name,
        message=f"{_holds(evidence, held)}: it is spent. Take it out of use and to a battery recycling point. "
        "The maker's instructions and local rules come first.",
        why=f"At {wording.percent(SPENT_HEALTH)} of rated the endurance test for lithium cells ends; the same line is drawn here for all packs. "
        "One so far gone is emptied too deep by runs that it used to stand.",
        source="IEC 61960-3, endurance in cycles (from memory)",
    )


def resistance_doubled(evidence: PackEvidence) -> Finding | None:
    """The pack's resistance is at least twice what it was when its record began."""
    health = _in_use(evidence)
    growth = None if health is None else health.outlook.resistance_growth
    if growth is None or isinstance(growth, NotEnough) or not _surely_over(growth, WORN_RESISTANCE):
        return None
    return Finding(
        rule="resistance-doubled",
        severity="caution",
        subject=evidence.pack.name,
        message=f"The resistance of {evidence.pack.name} is about {growth.value:.1f} times what it was when its record began "
        f"({growth.low:.1f} to {growth.high:.1f}). Load it less, look for heat and swelling after every run, and think of replacing it. "
        "If it swells, stop using it and go by the maker's instructions.",
        why="The heat made inside a cell grows with its resistance, and its voltage under load falls to the floor sooner. "
        "Taking twice the first resistance as the sign of a worn pack is common practice.",
    )


def _in_use(evidence: PackEvidence) -> PackHealth | None:
    """Return what is known of a pack's health; None for one that was taken out of use, which nobody has to act on."""
    return evidence.health if evidence.pack.retired_on is None else None


def _held(evidence: PackEvidence) -> Estimate | None:
    health = _in_use(evidence)
    return health.health if health is not None and isinstance(health.health, Estimate) else None


def _surely_under(held: Estimate, limit: float) -> bool:
    return float(probability_below(limit, held.value, held.sd)) >= CAPACITY_SURENESS


def _surely_over(growth: Estimate, limit: float) -> bool:
    return float(probability_below(-limit, -growth.value, growth.sd)) >= CAPACITY_SURENESS


def _holds(evidence: PackEvidence, held: Estimate) -> str:
    return (
        f"{evidence.pack.name} holds about {wording.percent(held.value)} of its rated {wording.mah(evidence.pack.capacity_ah)} "
        f"({_range(held.low, held.high)})"
    )


def _others(evidence: PackEvidence) -> str:
    return "other" if evidence.pack.series == 2 else "others"


def _less(ratio: Quantity) -> str:
    """Return by how much the weakest cell is weaker, in words that follow on the rest of the sentence."""
    if isinstance(ratio, NotEnough):
        return ""
    return f": by about {wording.percent(1.0 - ratio.value)} ({_range(1.0 - ratio.high, 1.0 - ratio.low)})"


def _excess(health: PackHealth) -> str:
    told = {cell.cell: cell.excess_loss_per_month for cell in health.cells}
    losses = [told.get(cell) for cell in health.restless_cells]
    words = [wording.percent(loss.value) for loss in losses if isinstance(loss, Estimate)]
    if len(words) < len(losses):
        return ""
    return f", about {wording.listed(words)} of {'its' if len(losses) == 1 else 'their'} capacity a month more"


def _range(low: float, high: float) -> str:
    return f"{wording.percent(low)} to {wording.percent(high)}"
