"""What a person sees of a recording that waits: what was found out about it, how else it may be read, and to which run it goes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from urllib.parse import quote, urlencode

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.addresses import DATA_PATH, data_address, pack_address
from dashboard.components.database_facts import size_words
from dashboard.components.import_report import refusals
from dashboard.components.marks import name_text
from dashboard.components.recording_preview import cells_found, doubts, first_rows, found_out, keep_form, reading_form, span_words
from dashboard.components.sending import post_button, side_by_side
from dashboard.components.table import card_table
from dashboard.exchange.desk import called, recording
from dashboard.exchange.flows import gone, watched
from dashboard.exchange.recordings import likely, reading_of, run_choices
from dashboard.exchange.waiting import GivenFile, Parcel
from dashboard.needs import Services
from dashboard.theme import clock, number
from tracker.domain.trace import TraceNote, TracePreview, TraceReading
from tracker.errors import ImportRefusedError, TrackerError

LISTED = 40
MOST_UNKNOWN_CELLS = 6
"""So many cells can be named before the pack is known."""


def recording_flow(services: Services, parcel: Parcel | None, place: str, asked: Mapping[str, str]) -> list[Component]:
    """One recording: looked at, kept, or refused."""
    if parcel is None:
        return [gone()]
    file = recording(parcel, int(place) if place.isdecimal() and len(place) < 4 else -1)
    job = parcel.kept.get(int(place))
    if job is not None and not job.ended:
        return [watched(job)]
    if job is not None and isinstance(job.result, TraceNote):
        return kept(parcel, job.result)
    said = [html.P(html.Bdi(job.words), className="notice-line", role="alert")] if job is not None else []
    heading = html.H2(["Recording ", html.Bdi(file.name)])
    try:
        preview = services.traces.look(file.path, reading_of(asked))
    except TrackerError as error:
        return [heading, *said, *not_so(services, parcel, file, place, asked, error)]
    return [heading, *said, *looked_at(services, parcel, place, preview, asked)]


def looked_at(services: Services, parcel: Parcel, place: str, preview: TracePreview, asked: Mapping[str, str]) -> list[Component]:
    """What was found out, and what may be said otherwise."""
    packs = {pack.name: pack for pack in services.packs.all(include_retired=True)}
    named = asked.get("pack") or preview.pack or (next(iter(packs)) if len(packs) == 1 else "")
    pack = packs.get(named)
    cells = max(cells_found(preview.reading), pack.series if pack else 0)
    stay = {"files": parcel.token, "recording": place}
    parts = [
        found_out(preview),
        *([doubts(preview.doubts)] if preview.doubts else []),
        html.H3("How it is read, and of which pack it is"),
        reading_form(preview, cells, stay, [(name, name) for name in packs], pack.name if pack else "", DATA_PATH),
        html.H3("The first rows as they stand in the file"),
        first_rows(preview),
        html.H3("Keep it with its run"),
    ]
    if not packs:
        return [*parts, html.P("No pack is stored yet. Write down the pack first, or bring in a packs file.")]
    if pack is None:
        return [*parts, html.P("Choose its pack above and look again; then choose the run here.")]
    runs = [one.run for one in services.packs.record(pack.name).runs]
    recorded = frozenset(note.started_at for note in services.traces.all() if note.pack == pack.name)
    choices = run_choices(runs, preview.started_at, recorded)
    vehicles = [vehicle.name for vehicle in services.controllers.vehicles()]
    action = f"{DATA_PATH}/files/{parcel.token}/recordings/{place}"
    form = keep_form(action, pack.name, preview.reading, choices, likely(choices), preview.started_at, vehicles)
    words = html.P(["Runs of ", name_text(pack.name), ", those nearest the time of the file first."], className="quiet")
    return [*parts, words, form]


def not_so(
    services: Services, parcel: Parcel, file: GivenFile, place: str, asked: Mapping[str, str], error: TrackerError
) -> list[Component]:
    """Why it cannot be read so, the columns to say which is which, and a way back to how it was found out."""
    if isinstance(error, ImportRefusedError) and not reading_of(asked) and {row.column for row in error.rows} == {"header"}:
        said: list[Component] = [html.P("Its columns are not known by their names.", role="status")]
    elif isinstance(error, ImportRefusedError):
        rows = [type(row)(file.name, row.line, row.column, row.message) for row in error.rows]
        said = [html.P("It cannot be read like this.", role="status"), refusals(rows, error.more)]
    else:
        said = [html.P(["It cannot be read like this: ", html.Bdi(called(str(error), file))], role="status")]
    again = html.A("Look again, as found out by itself", href=data_address(files=parcel.token, recording=place), className="button")
    headers, first = services.exchange.table_head(file.path)
    if not headers:
        return [*said, side_by_side([again])]
    packs = {pack.name: pack for pack in services.packs.all(include_retired=True)}
    pack = packs.get(asked.get("pack", ""))
    unread = TracePreview(
        reading=reading_of(asked) or TraceReading(),
        headers=headers,
        rows=0,
        span_s=0.0,
        started_at=None,
        used_ah=float("nan"),
        lowest_v=float("nan"),
        highest_a=float("nan"),
        first_rows=first,
    )
    stay = {"files": parcel.token, "recording": place}
    form = reading_form(
        unread, pack.series if pack else MOST_UNKNOWN_CELLS, stay, [(name, name) for name in packs], pack.name if pack else "", DATA_PATH
    )
    return [
        *said,
        html.H3("Say which column is time, voltage and current"),
        form,
        html.H3("The first rows as they stand in the file"),
        first_rows(unread),
        side_by_side([again]),
    ]


def kept(parcel: Parcel, note: TraceNote) -> list[Component]:
    """It is kept."""
    words: list[Component | str] = [
        "With the run of ",
        name_text(note.pack),
        f", {clock(note.started_at)}: {number(note.rows)} readings, {size_words(note.stored_bytes)}.",
    ]
    links = [
        dcc.Link("See the run", href=pack_address(note.pack, note.started_at), className="button"),
        html.A("The other files", href=data_address(files=parcel.token), className="button"),
    ]
    return [html.H2("Kept"), html.P(words, role="status"), side_by_side(links if len(parcel.files) > 1 else links[:1])]


def recordings_waiting(parcel: Parcel, files: Sequence[GivenFile]) -> Component:
    """Recordings among files that were sent, each to be brought to its run."""
    items = []
    for place, file in enumerate(files):
        job = parcel.kept.get(place)
        state = "kept" if job is not None and job.state == "done" else "choose its run"
        link = html.A([html.Bdi(file.name), f": {state}"], href=data_address(files=parcel.token, recording=str(place)))
        items.append(html.Li(link))
    words = "These files are none of the logbook's own. If they are recordings of runs, look at each, and choose its run."
    return html.Section([html.H3("Recordings"), html.P(words), html.Ul(items, className="changes")])


def recordings_kept(notes: Sequence[TraceNote]) -> Component:
    """The recordings that are kept, newest first."""
    parts: list[Component] = [html.H2("Recordings", id="recordings")]
    if not notes:
        words = "What a logger wrote during a run can be kept with it: bring its file in above. No recording is kept yet."
        return html.Section([*parts, html.P(words)])
    newest = sorted(notes, key=lambda note: note.started_at, reverse=True)
    table = card_table(
        "Recordings, newest first", ["Run", "Pack", "Readings", "Over", "Takes", "File", "Remove"], [_row(note) for note in newest[:LISTED]]
    )
    more = [html.P(f"The newest {LISTED} of {number(len(notes))}.", className="quiet")] if len(notes) > LISTED else []
    return html.Section([*parts, table, *more])


def _row(note: TraceNote) -> list[Component | str]:
    place = urlencode({"pack": note.pack, "at": note.started_at.isoformat()}, quote_via=quote)
    button = post_button(
        "Remove for good", f"{DATA_PATH}/recordings/remove?{place}", label=f"Remove the recording of {note.pack}, {clock(note.started_at)}"
    )
    return [
        dcc.Link(clock(note.started_at), href=pack_address(note.pack, note.started_at)),
        name_text(note.pack),
        number(note.rows),
        span_words(note.span_s),
        size_words(note.stored_bytes),
        html.Bdi(note.file_name or "not told"),
        html.Details([html.Summary("Remove"), html.P("The run stays. This cannot be taken back."), button], className="folded"),
    ]
