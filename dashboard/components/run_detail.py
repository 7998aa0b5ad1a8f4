"""One run in full: what was written down, how each piece of evidence voted, and what it did to each cell."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.addresses import change_address, pack_address
from dashboard.components.aria import aria
from dashboard.components.evidence import evidence_list
from dashboard.components.finding import finding_list, grouped
from dashboard.components.marks import grade_mark, name_text
from dashboard.components.quantity import quantity_cell
from dashboard.components.recording import recording_section
from dashboard.components.run_tables import volts_words
from dashboard.components.table import card_table
from dashboard.theme import ENDING_WORDS, chance, clock, mah, measured, minutes, percent, temperature, volts
from tracker.domain.results import AssessedRun, CellDepth
from tracker.domain.session import Run
from tracker.domain.trace import Trace


def run_detail(assessed: AssessedRun, floor_v: float, reserve_soc: float, recording: Trace | None = None) -> Component:
    """The chosen run."""
    run, estimate = assessed.run, assessed.estimate
    parts: list[Component] = [
        html.Div(
            [
                html.H2(f"Run of {clock(run.started_at)}", id="run"),
                html.Div(
                    [
                        html.A("Change or remove this run", href=change_address("run", (run.pack, run.started_at)), className="button"),
                        dcc.Link("Close this run", href=pack_address(run.pack), className="button"),
                    ],
                    className="actions",
                ),
            ],
            className="run-top",
        ),
        html.H3("Charge taken out"),
        html.P("What each piece of evidence says by itself, and how much it counted towards the answer.", className="quiet"),
        evidence_list(estimate.used_ah, estimate.evidence),
        html.H3("What it did to each cell"),
        cell_table(estimate.cells, floor_v, reserve_soc),
    ]
    if recording is not None:
        parts.append(recording_section(recording, run, estimate.evidence, len(estimate.cells), floor_v))
    if estimate.findings:
        parts += [html.H3("Findings"), finding_list(grouped(estimate.findings), heading=html.H4)]
    parts += [
        html.H3("As written down"),
        html.Dl([html.Div([html.Dt(term), html.Dd(value)]) for term, value in written_down(run)], className="facts"),
    ]
    return html.Section(parts, className="run-detail", **aria(labelledby="run"))


def cell_table(cells: tuple[CellDepth, ...], floor_v: float, reserve_soc: float) -> Component:
    """One row a cell."""
    columns = [
        "Cell",
        "Charge before",
        "Charge after",
        "Lowest under load",
        f"Chance under {volts(floor_v)}",
        f"Chance under {percent(reserve_soc)} left",
        "How deep",
    ]
    rows = [
        [
            f"Cell {cell.cell}",
            quantity_cell(cell.soc_before, "share"),
            quantity_cell(cell.soc_after, "share"),
            quantity_cell(cell.lowest_loaded_v, "volts"),
            _chance(cell.below_floor_probability),
            _chance(cell.below_reserve_probability),
            grade_mark(cell.grade),
        ]
        for cell in cells
    ]
    return card_table("What the run did to each cell", columns, rows)


def written_down(run: Run) -> list[tuple[str, Component | str]]:
    """What a person recorded of the run; what was not recorded is left out."""
    said: list[tuple[str, Component | str]] = [("Ran", minutes(run.run_s))]
    if run.vehicle:
        said.append(("Model", name_text(run.vehicle)))
    if run.before_v:
        said.append(("Before", volts_words(run.before_v)))
    if run.rest_before_s is not None:
        said.append(("Rested before", minutes(run.rest_before_s)))
    if run.loaded_v:
        said.append(
            (
                "Lowest seen under load",
                volts_words(run.loaded_v) + (f" at {measured(run.loaded_a, 'amps')}" if run.loaded_a is not None else ""),
            )
        )
    if run.mean_a is not None:
        said.append(("Mean current", measured(run.mean_a, "amps")))
    if run.used_ah is not None:
        said.append(("Meter in the model", mah(run.used_ah)))
    if run.after_v:
        said.append(("After", volts_words(run.after_v)))
    if run.rest_after_s is not None:
        said.append(("Rested after", minutes(run.rest_after_s)))
    if run.cutoff_v:
        said.append(("Cutoff as set", ", ".join(volts(setting) for setting in run.cutoff_v)))
    if run.pack_k is not None:
        said.append(("Pack temperature", temperature(run.pack_k)))
    if run.ended_by:
        said.append(("Ended by", ENDING_WORDS.get(run.ended_by, run.ended_by)))
    if run.notes:
        said.append(("Notes", html.Bdi(run.notes)))
    return said


def _chance(probability: float | None) -> Component | str:
    return html.Span("no estimate", className="unknown") if probability is None else chance(probability)
