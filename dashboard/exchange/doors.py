"""The doors through which files come and go. Every answer to a form is another address, so that loading anew sends nothing twice."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from flask import Flask, jsonify, redirect, request
from werkzeug.wrappers import Response as BaseResponse

from dashboard.addresses import DATA_PATH, data_address
from dashboard.exchange.desk import Desk, Wish
from dashboard.exchange.out import send_backup, send_export
from dashboard.exchange.plain import refused_page
from dashboard.exchange.receiving import MOST_BACKUP_BYTES, MOST_FILES_BYTES, TooLargeError, receive
from dashboard.exchange.recordings import NEW_RUN, moment_of, reading_of
from dashboard.exchange.waiting import Parcel
from dashboard.needs import Services
from tracker.errors import ConflictError, InputError, TrackerError

CONFIRMED = "replace"
"""What a person types before everything is replaced."""
GONE = "These files are no longer here. They wait two hours at most, and not past the program's next start. Choose them again."

View = Callable[..., BaseResponse]


def open_doors(server: Flask, services: Services) -> None:
    """Put the doors into the server."""
    desk = Desk(services)
    server.extensions["exchange"] = desk
    doors = _Doors(desk)
    for rule, method, view in (
        ("/export", "GET", doors.export),
        ("/backup", "GET", doors.backup),
        ("/jobs/<job>", "GET", doors.job),
        ("/files", "POST", doors.files),
        ("/files/<token>/store", "POST", doors.store),
        ("/files/<token>/drop", "POST", doors.drop),
        ("/files/<token>/recordings/<int:number>", "POST", doors.keep),
        ("/recordings/remove", "POST", doors.remove),
        ("/backups", "POST", doors.backups),
        ("/backups/<token>/restore", "POST", doors.restore),
        ("/estimate", "POST", doors.estimate),
        ("/changes/<change>/undo", "POST", doors.undo),
    ):
        server.add_url_rule(DATA_PATH + rule, f"data_{view.__name__}", _in_words(view), methods=[method])


class _Doors:
    """One method a door."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def export(self) -> BaseResponse:
        return send_export(self._desk.services.exchange)

    def backup(self) -> BaseResponse:
        return send_backup(self._desk.services.exchange)

    def job(self, job: str) -> BaseResponse:
        found = self._desk.jobs.get(job)
        return jsonify({"state": "gone"}) if found is None else jsonify(found.document())

    def files(self) -> BaseResponse:
        parcel = self._desk.take_files(receive("files", MOST_FILES_BYTES))
        return _onwards(data_address(files=parcel.token))

    def store(self, token: str) -> BaseResponse:
        parcel = self._parcel("files", token)
        self._desk.bring_in(parcel, replace=request.form.get("replace") == "yes")
        return _onwards(data_address(files=parcel.token))

    def keep(self, token: str, number: int) -> BaseResponse:
        parcel = self._parcel("files", token)
        asked, form = request.args.to_dict(), request.form
        run, pack = form.get("run", ""), asked.pop("pack", "")
        if not run or not pack:
            missing = "the run" if pack else "the pack"
            raise InputError(f"It was not said to which run the recording belongs. Choose {missing} first.")
        wish = Wish(
            pack=pack,
            started_at=moment_of(form.get("started_at", "") if run == NEW_RUN else run),
            vehicle=(form.get("vehicle") or None) if run == NEW_RUN else None,
            reading=reading_of(asked),
            replace=form.get("replace") == "yes",
        )
        self._desk.keep(parcel, number, wish)
        return _onwards(data_address(files=token, recording=str(number), pack=pack, **asked))

    def remove(self) -> BaseResponse:
        pack, started_at = request.args.get("pack", ""), moment_of(request.args.get("at", ""))
        self._desk.services.traces.remove(pack, started_at)
        return _onwards(f"{DATA_PATH}#recordings")

    def drop(self, token: str) -> BaseResponse:
        parcel = self._desk.room.find("files", token) or self._parcel("backup", token)
        if parcel.busy:
            raise ConflictError("These files are being worked on. Wait until that is done.")
        self._desk.room.drop(parcel)
        return _onwards(DATA_PATH)

    def backups(self) -> BaseResponse:
        parcel = self._desk.take_backup(receive("backup", MOST_BACKUP_BYTES))
        return _onwards(data_address(backup=parcel.token))

    def restore(self, token: str) -> BaseResponse:
        parcel = self._parcel("backup", token)
        if request.form.get("word", "").strip().lower() != CONFIRMED:
            return refused_page(
                "Nothing was replaced",
                f"Putting a backup back replaces everything stored. To confirm, type the word {CONFIRMED} into the field before the button.",
                409,
                back=data_address(backup=token),
            )
        self._desk.replace_all(parcel)
        return _onwards(data_address(backup=token))

    def estimate(self) -> BaseResponse:
        return _onwards(data_address(job=self._desk.estimate_anew().id))

    def undo(self, change: str) -> BaseResponse:
        self._desk.services.edits.undo(change)
        return _onwards(f"{DATA_PATH}#changes")

    def _parcel(self, kind: str, token: str) -> Parcel:
        parcel = self._desk.room.find(kind, token)
        if parcel is None:
            raise _GoneError(GONE)
        return parcel


class _GoneError(TrackerError):
    """Files that waited are not here any more."""


def _in_words(view: View) -> View:
    """The same door, which answers in words when it refuses."""

    @wraps(view)
    def answer(*args: Any, **given: Any) -> BaseResponse:
        try:
            return view(*args, **given)
        except TooLargeError as error:
            return refused_page("That is too large", str(error), 413)
        except _GoneError as error:
            return refused_page("Not here any more", str(error), 404)
        except ConflictError as error:
            return refused_page("Nothing was changed", str(error), 409)
        except TrackerError as error:
            return refused_page("That cannot be done", str(error), 400)

    return answer


def _onwards(address: str) -> BaseResponse:
    return redirect(address, 303)
