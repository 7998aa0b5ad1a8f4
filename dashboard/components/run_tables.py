"""Runs and charges of a pack as tables, newest first."""

from __future__ import annotations

from collections.abc import Sequence

from dash import dcc
from dash.development.base_component import Component

from dashboard.addresses import change_address, pack_address
from dashboard.components import elements as html
from dashboard.components.marks import SEVERITY_WORDS, grade_mark, name_text
from dashboard.components.quantity import quantity_cell
from dashboard.components.table import Cell, card_table, change_link
from dashboard.theme import GOAL_WORDS, NB, clock, counted, interval, mah, minutes, number, volts
from tracker.domain.results import GRADES, SEVERITIES, AssessedRun, CellDepth, Estimate, Finding
from tracker.domain.session import Charge, Volts


def run_table(pack: str, runs: Sequence[AssessedRun], chosen: AssessedRun | None = None) -> Component:
    """One row a run; its day leads to how its evidence voted."""
    newest_first = list(reversed(runs))
    rows = [
        [
            dcc.Link(clock(one.run.started_at), href=pack_address(pack, one.run.started_at)),
            name_text(one.run.vehicle) if one.run.vehicle else "not recorded",
            minutes(one.run.run_s),
            quantity_cell(one.estimate.used_ah, "charge"),
            deepest_words(deepest_cell(one.estimate.cells)),
            grade_mark(worst_grade(one.estimate.cells)),
            finding_words(one.estimate.findings),
            change_link(change_address("run", (pack, one.run.started_at)), f"the run of {clock(one.run.started_at)}"),
        ]
        for one in newest_first
    ]
    place = newest_first.index(chosen) if chosen in newest_first else None
    return card_table(
        "Runs, newest first",
        ["Started", "Model", "Ran", "Taken out", "Deepest cell", "How deep", "Findings", "Change"],
        rows,
        chosen=place,
    )


def charge_table(charges: Sequence[Charge]) -> Component:
    """One row a charge."""
    rows: list[list[Cell]] = [
        [
            clock(charge.finished_at),
            GOAL_WORDS.get(charge.goal or "", "not recorded"),
            mah(charge.put_back_ah) if charge.put_back_ah is not None else "not recorded",
            volts_words(charge.end_v),
            charge.notes or "none",
            change_link(change_address("charge", (charge.pack, charge.finished_at)), f"the charge of {clock(charge.finished_at)}"),
        ]
        for charge in reversed(charges)
    ]
    return card_table("Charges, newest first", ["Finished", "Goal", "Put back", "Ended at", "Notes", "Change"], rows)


def deepest_cell(cells: Sequence[CellDepth]) -> CellDepth | None:
    """The cell with least left, where any is known."""
    known = [(cell.soc_after.value, cell) for cell in cells if isinstance(cell.soc_after, Estimate)]
    return min(known, key=lambda pair: pair[0])[1] if known else None


def deepest_words(cell: CellDepth | None) -> Component | str:
    """Which cell went deepest, and how deep."""
    if cell is None or not isinstance(cell.soc_after, Estimate):
        return html.Span("no estimate", className="unknown")
    soc = cell.soc_after
    depth = Estimate(value=1 - soc.value, low=1 - soc.high, high=1 - soc.low, sd=soc.sd)
    return f"cell {cell.cell}: {interval(depth, 'share')}"


def worst_grade(cells: Sequence[CellDepth]) -> str | None:
    """The worst grade among the cells."""
    given = [cell.grade for cell in cells if cell.grade is not None]
    return min(given, key=lambda grade: GRADES.index(grade) if grade in GRADES else len(GRADES)) if given else None


def finding_words(findings: Sequence[Finding]) -> str:
    """How many findings of which severity, most pressing first."""
    numbers = [(severity, sum(finding.severity == severity for finding in findings)) for severity in SEVERITIES]
    return ", ".join(counted(number, SEVERITY_WORDS[severity].lower()) for severity, number in numbers if number) or "none"


def volts_words(readings: Volts) -> str:
    """One voltage, or those of the cells in order."""
    if not readings:
        return "not recorded"
    if len(readings) == 1:
        return volts(readings[0])
    return " / ".join(number(reading, 2) for reading in readings) + f"{NB}V"
