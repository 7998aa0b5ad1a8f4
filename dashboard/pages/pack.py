"""Pack: how one pack is, cell by cell, and what each of its runs took."""

from __future__ import annotations

from collections.abc import Sequence

from dash import Dash, dcc, html
from dash.development.base_component import Component

from dashboard.addresses import PACK_PATH, name_in, pack_address, run_in
from dashboard.components.empty import empty_state
from dashboard.components.figure import figure_frame, graph
from dashboard.components.finding import finding_list, grouped
from dashboard.components.marks import GRADE_WORDS, grade_mark, name_text, state_mark
from dashboard.components.quantity import quantity_text
from dashboard.components.run_detail import run_detail
from dashboard.components.run_tables import charge_table, run_table
from dashboard.components.table import scroll_table
from dashboard.figures.depth import depth_figure, depth_height_px, depth_sentence, depth_table
from dashboard.needs import Services
from dashboard.theme import clock, counted, pack_words, percent, volts
from tracker.domain.results import AssessedRun, PackRecord, PackState
from tracker.errors import NotFoundError

PATH, TITLE, MENU = f"{PACK_PATH}/<segment>", "Pack", False
RECENT_RUNS = 40
MOST_RUNS = 1500
"""Even when all are asked for: more marks than this are no longer told apart."""


def layout(
    services: Services, /, segment: str = "", name: str | None = None, run: str | None = None, runs: str | None = None, **_: str
) -> Component:
    """The page of the pack named in the address."""
    wanted = name_in(segment) if name is None else name
    try:
        record = services.packs.record(wanted)
    except NotFoundError as error:
        return unknown_pack(str(error))
    return pack(record, run, MOST_RUNS if runs == "all" else RECENT_RUNS)


def connect(_app: Dash, _services: Services) -> None:
    """Nothing on this page changes after it is drawn: what is chosen stands in the address."""


def title_of(segment: str = "", **_: str) -> str:
    """The pack's name, for the browser's tab."""
    return name_in(segment)


def unknown_pack(message: str) -> Component:
    """No pack of that name."""
    return html.Div(
        [
            html.H1("No such pack", tabIndex=-1),
            html.P(message),
            html.P(dcc.Link("See all packs", href=PACK_PATH, className="button")),
        ]
    )


def pack(record: PackRecord, run: str | None, most: int) -> Component:
    """Everything about one pack, the chosen run first."""
    state = record.state
    chosen = find_run(record.runs, run)
    recent = record.runs[-most:]
    parts: list[Component] = [heading(state)]
    if run and chosen is None:
        parts.append(html.P("There is no run at the time in this address; all runs are below.", className="notice-line", role="status"))
    if chosen is not None:
        parts.append(run_detail(chosen, record.floor_v, record.reserve_soc))
    parts.append(facts(state))
    if record.findings:
        parts.append(html.Section([html.H2("Cautions"), finding_list(grouped(record.findings))]))
    if record.runs:
        parts += [depths(record, recent), runs_section(record, recent, chosen)]
    else:
        parts.append(
            empty_state(
                "No runs yet",
                "Once a run is written down, this page shows how deep it took each cell.",
                ((("Write one down"), "pack-tracker log run --help"),),
            )
        )
    parts.append(charges(record))
    return html.Div(parts)


def find_run(runs: Sequence[AssessedRun], run: str | None) -> AssessedRun | None:
    """The run that started at the time in the address."""
    start = run_in(run)
    return next((one for one in runs if one.run.started_at == start), None)


def heading(state: PackState) -> Component:
    """Name, what it is, how it stands and what to do next."""
    return html.Header(
        [
            html.H1(name_text(state.pack), tabIndex=-1),
            html.P(pack_words(state.chemistry, state.series, state.capacity_ah), className="quiet"),
            html.P([state_mark(state.state), " ", state.next], className="pack-next"),
        ]
    )


def facts(state: PackState) -> Component:
    """The numbers of the pack as it stands now."""
    said = [
        ("Capacity now", quantity_text(state.capacity, "charge")),
        ("Share of rated", quantity_text(state.health, "share")),
        ("Charge now", quantity_text(state.soc, "share")),
        ("Runs", f"{state.runs:,}, {state.deep_runs or 'none'} too deep"),
        ("Last used", clock(state.last_used_at) if state.last_used_at else "not yet"),
    ]
    return html.Section(
        [
            html.H2("As it stands"),
            html.Dl([html.Div([html.Dt(term), html.Dd(value)]) for term, value in said], className="facts"),
            html.P("± spans hold the true value nine times in ten.", className="quiet"),
        ]
    )


def depths(record: PackRecord, recent: Sequence[AssessedRun]) -> Component:
    """The history of depth, cell by cell."""
    cells = record.state.series
    columns, rows = depth_table(recent, cells)
    return html.Section(
        [
            html.H2("How deep each run went"),
            figure_frame(
                graph("pack-depth", depth_figure(recent, cells, record.reserve_soc), depth_height_px(cells)),
                depth_sentence(recent, len(record.runs)),
                scroll_table("Depth of each run by cell", columns, rows),
                grade_key(record),
            ),
        ]
    )


def grade_key(record: PackRecord) -> Component:
    """What the marks mean, in words."""
    meanings = {
        "fine": "",
        "low": f" (less than {percent(record.reserve_soc)} left)",
        "deep": " (may have gone under the floor, or half the reserve used)",
        "damaging": f" (more likely than not under the floor, {volts(record.floor_v)} a loaded cell)",
    }
    return html.Ul([html.Li([grade_mark(grade), meanings[grade]]) for grade in reversed(GRADE_WORDS)], className="key")


def runs_section(record: PackRecord, recent: Sequence[AssessedRun], chosen: AssessedRun | None) -> Component:
    """The runs as a table, newest first."""
    name = record.state.pack
    parts: list[Component] = [html.H2("Runs"), run_table(name, recent, chosen)]
    if len(recent) < len(record.runs) and len(recent) < MOST_RUNS:
        parts.append(
            html.P(dcc.Link(f"Show all {counted(len(record.runs), 'run')}", href=pack_address(name, all_runs=True), className="button"))
        )
    return html.Section(parts)


def charges(record: PackRecord) -> Component:
    """The charges, newest first."""
    if not record.charges:
        return html.Section([html.H2("Charges"), html.P("No charges written down.", className="quiet")])
    shown = record.charges[-RECENT_RUNS:]
    parts: list[Component] = [html.H2("Charges"), charge_table(shown)]
    if len(shown) < len(record.charges):
        parts.append(html.P(f"The last {len(shown)} of {len(record.charges):,}.", className="quiet"))
    return html.Section(parts)
