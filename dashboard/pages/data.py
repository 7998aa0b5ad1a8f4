"""Data: bring files in, take everything out, put a backup back, and take back what was changed last."""

from __future__ import annotations

from collections.abc import Sequence

from dash import Dash, html
from dash.development.base_component import Component

from dashboard.addresses import DATA_PATH
from dashboard.components.database_facts import database_facts
from dashboard.components.sending import post_button, side_by_side
from dashboard.exchange.desk import desk
from dashboard.exchange.flows import backup_flow, choose_files, files_flow, job_flow, put_back
from dashboard.exchange.jobs import Job
from dashboard.exchange.recording_flow import recording_flow, recordings_kept, recordings_waiting
from dashboard.needs import Services
from dashboard.theme import clock
from tracker.domain.changes import Change
from tracker.domain.exchange import DatabaseFacts
from tracker.domain.trace import TraceNote

PATH, TITLE, MENU = DATA_PATH, "Data", True
LISTED_CHANGES = 20


def layout(
    services: Services, /, files: str | None = None, recording: str | None = None, backup: str | None = None, job: str | None = None, **asked: str
) -> Component:  # fmt: skip
    """The page: what waits under the token in the address, else everything there is to do here."""
    here = desk()
    if files is not None and recording is not None:
        return one_thing(recording_flow(services, here.room.find("files", files), recording, asked))
    if files is not None:
        return one_thing(files_flow(here.room.find("files", files), recordings_waiting))
    if backup is not None:
        return one_thing(backup_flow(here.room.find("backup", backup)))
    if job is not None:
        return one_thing(job_flow(here.jobs.get(job)))
    return everything(services.database.facts(), services.traces.all(), services.edits.recent(LISTED_CHANGES), here.jobs.under_way())


def connect(_app: Dash, _services: Services) -> None:
    """Forms of this page are plain ones, answered by doors of the server."""


def one_thing(parts: Sequence[Component]) -> Component:
    """One thing being done, and the way back."""
    return html.Div([html.H1(TITLE, tabIndex=-1), html.P(html.A("Back to all about data", href=PATH), className="jumps"), *parts])


def everything(facts: DatabaseFacts, recordings: Sequence[TraceNote], changes: Sequence[Change], under_way: Sequence[Job]) -> Component:
    """All there is to do here."""
    parts: list[Component] = [html.H1(TITLE, tabIndex=-1)]
    if under_way:
        links = [html.Li(html.A(f"{job.title}: see how far it is", href=job.address)) for job in under_way]
        parts.append(html.Section([html.H2("At work"), html.Ul(links)], className="ask"))
    parts += [bring_in(), recordings_kept(recordings), take_out(), put_back(), last_changes(changes), in_use(facts)]
    return html.Div(parts)


def bring_in() -> Component:
    """Files in."""
    return html.Section(
        [
            html.H2("Bring in"),
            html.P(
                "Logbook files of any kind and recordings of loggers (CSV), together. You see first what they would change, and nothing is stored until you say so."
            ),
            choose_files(),
        ]
    )


def take_out() -> Component:
    """Everything out."""
    return html.Section(
        [
            html.H2("Take out"),
            html.P(
                "The logbook files can be read by any spreadsheet, and brought in again here. The backup is the whole database in one file."
            ),
            side_by_side(
                [
                    html.A("Logbook files (ZIP)", href=f"{PATH}/export", className="button", download=""),
                    html.A("Backup", href=f"{PATH}/backup", className="button", download=""),
                ]
            ),
        ]
    )


def last_changes(changes: Sequence[Change]) -> Component:
    """What was changed last, each with a way back."""
    parts: list[Component] = [html.H2("Last changes", id="changes")]
    if not changes:
        parts.append(html.P("Nothing was written down or changed by hand yet. What is will stand here, and can be taken back."))
    else:
        parts.append(html.Ul([_change(change) for change in changes], className="changes"))
    return html.Section(parts)


def in_use(facts: DatabaseFacts) -> Component:
    """The database in use."""
    return html.Section(
        [
            html.H2("The database in use"),
            database_facts(facts),
            html.P(
                "Estimates are kept, and made anew by themselves whenever something they depend on changes. Making all of them anew gives the same numbers; it takes a while with very many runs.",
                className="quiet",
            ),
            post_button("Estimate all anew", f"{PATH}/estimate"),
        ]
    )


def _change(change: Change) -> Component:
    words = html.Span([html.Bdi(change.words), html.Span(clock(change.at), className="finding-day")], className="change-words")
    if change.undone:
        return html.Li([words, html.Span("taken back", className="unknown")])
    return html.Li([words, post_button("Undo", f"{PATH}/changes/{change.id}/undo", label=f"Undo: {change.words}")])
