"""What a person sees of files that wait: looked at, brought in, put back, or refused."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.addresses import DATA_PATH as PATH
from dashboard.components.database_facts import contents_compared
from dashboard.components.import_report import differences, numbers_table, refusals, total, totals_sentence, warning_list
from dashboard.components.job_panel import job_panel
from dashboard.components.sending import post_button, sending_form, side_by_side
from dashboard.exchange.desk import Compared, Looked
from dashboard.exchange.doors import CONFIRMED, GONE
from dashboard.exchange.jobs import Job
from dashboard.exchange.receiving import MOST_BACKUP_BYTES, MOST_FILES, MOST_FILES_BYTES
from dashboard.exchange.waiting import MEBIBYTE, GivenFile, Parcel
from dashboard.theme import counted
from tracker.domain.results import ImportReport
from tracker.errors import ImportRefusedError


def choose_files() -> Component:
    """The form for logbook files."""
    return sending_form(
        "files",
        "Files",
        action=f"{PATH}/files",
        button="See what they would bring",
        most_bytes=MOST_FILES_BYTES,
        several=True,
        hint=f"Up to {MOST_FILES} files and {MOST_FILES_BYTES // MEBIBYTE} MiB at a time. What a file holds is told from its first row, not from its name.",
    )


def put_back() -> Component:
    """A backup back."""
    return html.Section(
        [
            html.H2("Put a backup back"),
            html.P("The backup is checked, and you see what is in it beside what is stored, before anything is replaced."),
            sending_form(
                "backup",
                "Backup file",
                action=f"{PATH}/backups",
                button="Check this backup",
                most_bytes=MOST_BACKUP_BYTES,
                hint=f"One file of up to {MOST_BACKUP_BYTES // MEBIBYTE} MiB.",
            ),
        ]
    )


def files_flow(parcel: Parcel | None, recordings: Callable[[Parcel, Sequence[GivenFile]], Component]) -> list[Component]:
    """Files that wait: looked at, brought in, or refused; `recordings` shows those of which a run must be chosen."""
    if parcel is None:
        return [gone(), choose_files()]
    if (job := parcel.use) is not None:
        if not job.ended:
            return [watched(job)]
        if isinstance(job.result, ImportReport):
            return [*brought_in(job.result), *_recordings(parcel, recordings)]
        return refused(job)
    if (job := parcel.look) is None or not job.ended:
        return [watched(job)] if job is not None else [gone()]
    return [*preview(parcel, job.result), *_recordings(parcel, recordings)] if isinstance(job.result, Looked) else refused(job)


def _recordings(parcel: Parcel, shown: Callable[[Parcel, Sequence[GivenFile]], Component]) -> list[Component]:
    looked = parcel.look.result if parcel.look is not None else None
    return [shown(parcel, looked.recordings)] if isinstance(looked, Looked) and looked.recordings else []


def preview(parcel: Parcel, looked: Looked) -> list[Component]:
    """What files would bring, and the button that brings it."""
    names = html.P(["Read: ", *_listed([file.name for file in parcel.files])], className="quiet")
    report = looked.report
    if report is None:
        return [html.H2("What these files would bring"), names]
    new, changed = total(report.added), total(report.updated)
    parts: list[Component] = [
        html.H2("What these files would bring"),
        names,
        html.P(totals_sentence(report), role="status"),
        numbers_table(report),
    ]
    if report.differences:
        parts.append(differences(report.differences, changed))
    if report.warnings:
        parts.append(warning_list(report.warnings))
    if not (new or changed):
        return [*parts, choose_again("Other files")]
    words = "Bring these in" if not changed else f"Bring these in and replace {counted(changed, 'stored record')}"
    store = post_button(words, f"{PATH}/files/{parcel.token}/store", name="replace", value="yes" if changed else "no")
    drop = post_button("Leave it", f"{PATH}/files/{parcel.token}/drop")
    return [*parts, html.P("None of this is stored yet.", className="strong-line"), side_by_side([store, drop])]


def brought_in(report: ImportReport) -> list[Component]:
    """What files brought."""
    parts: list[Component] = [html.H2("Brought in"), html.P(totals_sentence(report), role="status"), numbers_table(report)]
    if report.warnings:
        parts.append(warning_list(report.warnings))
    links = [dcc.Link("See what needs doing", href="/", className="button"), html.A("Bring in more", href=PATH, className="button")]
    return [*parts, side_by_side(links)]


def refused(job: Job) -> list[Component]:
    """Why nothing was stored."""
    heading = html.H2("Refused: nothing was stored")
    if isinstance(job.error, ImportRefusedError):
        number = len(job.error.rows) + job.error.more
        sentence = f"{counted(number, 'thing')} {'is' if number == 1 else 'are'} wrong. Files are stored together or not at all: put this right in the files, and choose them again."
        return [heading, html.P(sentence, role="status"), refusals(job.error.rows, job.error.more), choose_again("The files put right")]
    return [heading, html.P(html.Bdi(job.words), role="status"), choose_again("Other files")]


def choose_again(heading: str) -> Component:
    """The form once more."""
    return html.Section([html.H2(heading), choose_files()])


def backup_flow(parcel: Parcel | None) -> list[Component]:
    """A backup that waits: checked, put back, or refused."""
    if parcel is None:
        return [gone(), put_back()]
    if (job := parcel.use) is not None:
        if not job.ended:
            return [watched(job)]
        if job.state == "done":
            return restored(str(job.result))
        return [html.H2("Nothing was replaced"), html.P(html.Bdi(job.words), role="status"), put_back()]
    if (job := parcel.look) is None or not job.ended:
        return [watched(job)] if job is not None else [gone()]
    if isinstance(job.result, Compared):
        return confirm_restore(parcel, job.result)
    return [html.H2("This backup cannot be used"), html.P(html.Bdi(job.words), role="status"), put_back()]


def confirm_restore(parcel: Parcel, compared: Compared) -> list[Component]:
    """What is in a backup beside what is stored, and the field that confirms."""
    field = "restore-word"
    form = html.Form(
        [
            html.Div(
                [
                    html.Label(f"To confirm, type the word {CONFIRMED}", htmlFor=field),
                    dcc.Input(id=field, name="word", type="text", autoComplete="off", spellCheck=False, maxLength=20),
                ],
                className="field",
            ),
            html.Div(html.Button("Replace everything by this backup", type="submit"), className="ask-foot"),
        ],
        action=f"{PATH}/backups/{parcel.token}/restore",
        method="post",
        className="ask narrow",
    )
    return [
        html.H2("This backup is whole"),
        html.P(_listed([parcel.files[0].name]), className="quiet"),
        contents_compared(compared.backup, compared.stored),
        html.P(
            "Putting it back replaces everything that is stored, also what is not in the backup. A copy of what is stored now is kept beside the database first.",
            className="notice-line",
        ),
        form,
        post_button("Leave it", f"{PATH}/files/{parcel.token}/drop"),
    ]


def restored(kept: str) -> list[Component]:
    """The backup is back."""
    return [
        html.H2("The backup is back in place"),
        html.P(
            ["What was stored before is kept in ", html.Code(kept), ". To return to it, put that file back in the same way."], role="status"
        ),
        dcc.Link("See what needs doing", href="/", className="button"),
    ]


def job_flow(job: Job | None) -> list[Component]:
    """Work of another kind."""
    if job is None:
        return [html.P("This work has ended some time ago, or the program was started anew since.", role="status")]
    if not job.ended:
        return [watched(job)]
    words = "Done." if job.state == "done" else job.words
    return [html.H2(job.title), html.P(html.Bdi(words), role="status")]


def watched(job: Job) -> Component:
    """How far it is."""
    return job_panel(job.title, f"{PATH}/jobs/{job.id}")


def gone() -> Component:
    """What waited is no longer here."""
    return html.P(GONE, className="notice-line", role="status")


def _listed(names: Sequence[str]) -> list[Component | str]:
    parts: list[Component | str] = []
    for place, name in enumerate(names[:20]):
        parts += [", "] if place else []
        parts.append(html.Bdi(name))
    return [*parts, f" and {len(names) - 20} more"] if len(names) > 20 else parts
