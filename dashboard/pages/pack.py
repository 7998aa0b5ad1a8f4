"""Pack: how one pack is, cell by cell, and what each of its runs took."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from dashboard.addresses import PACK_PATH, change_address, cutoff_address, log_address, name_in, pack_address, run_in
from dashboard.components.empty import actions, empty_state
from dashboard.components.figure import figure_frame, graph
from dashboard.components.finding import finding_list, grouped
from dashboard.components.learned import learned_sections
from dashboard.components.marks import GRADE_WORDS, grade_mark, name_text, state_mark
from dashboard.components.quantity import quantity_text
from dashboard.components.recording import BUTTONS, CHART, DRAGGED, SAID, SHOWN, asked_span, span_said, zoomed
from dashboard.components.run_detail import run_detail
from dashboard.components.run_tables import charge_table, run_table, worst_grade
from dashboard.components.season import season_section
from dashboard.components.table import folded_table
from dashboard.components.terms import terms_fold
from dashboard.figures.depth import depth_figure, depth_height_px, depth_points, depth_sentence, depth_table
from dashboard.figures.recording import MOST_POINTS
from dashboard.needs import Services
from dashboard.theme import clock, counted, pack_words, percent, unbroken, volts
from tracker.domain.health import PackLearning
from tracker.domain.results import SEVERITIES, AssessedRun, PackRecord, PackState
from tracker.domain.season import SeasonRun
from tracker.domain.trace import Trace
from tracker.errors import NotFoundError

PATH, TITLE, MENU = f"{PACK_PATH}/<segment>", "Pack", False
WORDS = (
    "Pack and cell", "Depth", "Floor", "Reserve", "Grade", "Rested voltage", "Evidence and its vote", "Resistance", "Fade", "Own curve", "Equivalent full cycle",
)  # fmt: skip
DRAWN_RUNS, LISTED_RUNS, LISTED_CHARGES = 40, 12, 8
"""How many of the newest are shown before all are asked for."""
MOST = 1500
"""Even when all are asked for: more marks than this are no longer told apart."""


def layout(services: Services, /, segment: str = "", run: str | None = None, runs: str | None = None, **_: str) -> Component:
    """The page of the pack named in the address."""
    try:
        record, learning = services.packs.record(name_in(segment)), services.packs.learning(name_in(segment))
    except NotFoundError as error:
        return unknown_pack(str(error))
    retired = all(each.name != record.state.pack for each in services.packs.all())
    return pack(record, learning, run, recording_of(services, record, run), everything=runs == "all", retired=retired)


def connect(app: Dash, services: Services) -> None:
    """A part of a recording is fetched anew when it is looked at more closely; which part stands in the address, as all else does."""

    # What the chart tells beside dragging is left out in the browser: it would make Dash drop the answer to a button pressed just before.
    in_browser: Any = app.clientside_callback
    in_browser(
        ClientsideFunction(namespace="recording", function_name="dragged"),
        Output(DRAGGED, "data"),
        Input(CHART, "relayoutData"),
        prevent_initial_call=True,
    )

    in_browser(ClientsideFunction(namespace="recording", function_name="kept"), Input(SHOWN, "data"), prevent_initial_call=True)

    @app.callback(
        [Output(CHART, "figure"), Output(SHOWN, "data"), Output(SAID, "children")],
        [Input(DRAGGED, "data"), *(Input(f"{CHART}-{name}", "n_clicks") for name in BUTTONS)],
        State(SHOWN, "data"),
        prevent_initial_call=True,
    )
    def look_closer(relayout: dict[str, Any] | None, *given: Any) -> list[Any]:
        span = asked_span(str(ctx.triggered_id), relayout, given[-1]["shown"], given[-1]["whole"])
        return [no_update] * 3 if span is None or span == given[-1]["shown"] else part_of(services, given[-1], span)


def part_of(services: Services, kept: dict[str, Any], span: list[float]) -> list[Any]:
    """A part of a recording [min], with as many readings as the whole had."""
    low_s, high_s = (60 * end for end in span)
    trace = services.traces.thinned(kept["pack"], datetime.fromisoformat(kept["at"]), low_s, high_s, MOST_POINTS)
    return [zoomed(trace, span), kept | {"shown": span}, span_said(span, kept["whole"])]


def recording_of(services: Services, record: PackRecord, run: str | None) -> Trace | None:
    """The recording of the run in the address, where it has one."""
    chosen = find_run(record.runs, run)
    try:
        return None if chosen is None else services.traces.thinned(chosen.run.pack, chosen.run.started_at, points=MOST_POINTS)
    except NotFoundError:  # most runs have none
        return None


def unknown_pack(message: str) -> Component:
    """No pack of that name."""
    return html.Div(
        [
            html.H1("No such pack", tabIndex=-1),
            html.P(message),
            html.P(dcc.Link("See all packs", href=PACK_PATH, className="button")),
        ]
    )


def pack(
    record: PackRecord,
    learning: PackLearning,
    run: str | None = None,
    recording: Trace | None = None,
    *,
    everything: bool = False,
    retired: bool = False,
) -> Component:
    """Everything about one pack, the chosen run first."""
    state = record.state
    chosen = find_run(record.runs, run)
    parts: list[Component] = [heading(state, retired=retired)]
    if run and chosen is None:
        parts.append(html.P("There is no run at the time in this address; all runs are below.", className="notice-line", role="status"))
    if chosen is not None:
        parts.append(run_detail(chosen, record.floor_v, record.reserve_soc, recording))
    parts.append(facts(state))
    cutoff = cutoff_address(state.pack, last_vehicle(record.runs))
    parts.append(html.P(dcc.Link("Where its controllers should let go", href=cutoff, className="button")))
    told = chosen.estimate.findings if chosen is not None else ()
    # What concerns its controllers stands with its last run, and is no less pressing for that.
    found = sorted(dict.fromkeys([*record.findings, *state.findings]), key=lambda finding: SEVERITIES.index(finding.severity))
    if rest := [finding for finding in found if finding not in told]:
        parts.append(html.Section([html.H2("Cautions"), finding_list(grouped(rest))]))
    if record.runs:
        parts.append(depths(record, record.runs[-(MOST if everything else DRAWN_RUNS) :]))
        parts += learned_sections(learning)
        if (calendar := season_section([_in_season(one) for one in record.runs[-MOST:]])) is not None:
            parts.append(calendar)
        parts.append(runs_section(record, chosen, everything=everything))
    else:
        parts.append(
            empty_state(
                "No runs yet",
                "Once a run is written down, this page shows how deep it took each cell.",
                links=[("Write down a run", log_address(state.pack))],
            )
        )
    parts.append(charges(record, everything=everything))
    return html.Div(parts)


def _in_season(one: AssessedRun) -> SeasonRun:
    return SeasonRun(pack=one.run.pack, started_at=one.run.started_at, grade=worst_grade(one.estimate.cells))


def find_run(runs: Sequence[AssessedRun], run: str | None) -> AssessedRun | None:
    """The run that started at the time in the address."""
    start = run_in(run)
    return next((one for one in runs if one.run.started_at == start), None)


def last_vehicle(runs: Sequence[AssessedRun]) -> str | None:
    """The model the pack ran in last, as far as it is written down."""
    return next((one.run.vehicle for one in reversed(runs) if one.run.vehicle is not None), None)


def heading(state: PackState, *, retired: bool = False) -> Component:
    """Name, what it is, how it stands and what to do next, and what can be written down or changed."""
    change = change_address("pack", state.pack)
    leave = ("Take back into use" if retired else "Retire", change_address("pack", state.pack, part="retire"))
    log = [("Write down a run", log_address(state.pack)), ("Write down a charge", log_address(state.pack, what="charge"))]
    return html.Header(
        [
            html.H1(name_text(state.pack), tabIndex=-1),
            html.P(pack_words(state.chemistry, state.series, state.capacity_ah), className="quiet"),
            html.P(
                [html.Span("Retired", className="state") if retired else state_mark(state.state), " ", unbroken(state.next)],
                className="standing",
            ),
            actions([*([] if retired else log), ("Change this pack", change), leave]),
        ]
    )


def facts(state: PackState) -> Component:
    """The numbers of the pack as it stands now."""
    said = [
        ("Capacity now", quantity_text(state.capacity, "charge")),
        ("Share of rated", quantity_text(state.health, "share")),
        ("Charge now", quantity_text(state.soc, "share")),
        ("Runs", f"{state.runs:,}, {state.deep_runs or 'none'} too deep" if state.runs else "none yet"),
        ("Last used", clock(state.last_used_at) if state.last_used_at else "not yet"),
    ]
    return html.Section(
        [
            html.H2("As it stands"),
            html.Dl([html.Div([html.Dt(term), html.Dd(value)]) for term, value in said], className="facts"),
            html.P("± spans hold the true value nine times in ten.", className="quiet"),
            terms_fold(*WORDS),
        ]
    )


def depths(record: PackRecord, recent: Sequence[AssessedRun]) -> Component:
    """The history of depth, cell by cell."""
    cells = record.state.series
    grades = {cell.grade for one in recent for cell in one.estimate.cells if cell.grade is not None}
    columns, rows = depth_table(recent, cells)
    sentence, heading = depth_sentence(recent, len(record.runs)), html.H2("How deep each run went")
    if not depth_points(recent):
        return html.Section([heading, html.P(sentence)])
    return html.Section(
        [
            heading,
            figure_frame(
                graph("pack-depth", depth_figure(recent, cells, record.reserve_soc), depth_height_px(cells)),
                sentence,
                folded_table("Depth of each run by cell", columns, rows),
                grade_key(record, grades),
                description="Chart of how deep each run took each cell",
            ),
        ]
    )


def grade_key(record: PackRecord, grades: Collection[str]) -> Component:
    """What the marks that occur mean, in words."""
    meanings = {
        "fine": "",
        "low": f" (less than {percent(record.reserve_soc)} left)",
        "deep": " (may have gone under the floor, or half the reserve used)",
        "damaging": f" (more likely than not under the floor, {volts(record.floor_v)} a loaded cell)",
    }
    return html.Ul([html.Li([grade_mark(grade), meanings[grade]]) for grade in reversed(GRADE_WORDS) if grade in grades], className="key")


def runs_section(record: PackRecord, chosen: AssessedRun | None, *, everything: bool) -> Component:
    """The runs as a table, newest first."""
    name, shown = record.state.pack, record.runs[-(MOST if everything else LISTED_RUNS) :]
    parts: list[Component] = [
        html.H2("Runs"),
        html.P("Choose a run to see how each piece of evidence voted.", className="quiet"),
        run_table(name, shown, chosen),
    ]
    parts += _more(len(shown), len(record.runs), "run", None if everything else pack_address(name, all_runs=True))
    return html.Section(parts)


def charges(record: PackRecord, *, everything: bool) -> Component:
    """The charges, newest first."""
    if not record.charges:
        nothing = "No charges written down. What the charger put back teaches most what a pack holds."
        return html.Section([html.H2("Charges"), html.P(nothing, className="quiet")])
    shown = record.charges[-(MOST if everything else LISTED_CHARGES) :]
    address = None if everything else pack_address(record.state.pack, all_runs=True)
    return html.Section([html.H2("Charges"), charge_table(shown), *_more(len(shown), len(record.charges), "charge", address)])


def _more(shown: int, there_are: int, what: str, address: str | None) -> list[Component]:
    """A way to the rest, or how many of them are shown."""
    if shown == there_are:
        return []
    if address is None:
        return [html.P(f"The newest {shown:,} of {counted(there_are, what)}.", className="quiet")]
    return [html.P(dcc.Link(f"Show all {counted(there_are, what)}", href=address, className="button"), className="more")]
