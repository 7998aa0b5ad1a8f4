"""The doors of the page Log: the page itself, what it asks while somebody types, and where entries are handed over."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any
from urllib.parse import quote, unquote, urlencode

from flask import Flask, Response, jsonify, redirect, request
from werkzeug.wrappers import Response as BaseResponse

from dashboard.addresses import LOG_PATH as PATH
from dashboard.frame import MenuEntry
from dashboard.needs import Services
from dashboard.trackside.answer import charge_answer, problem_words, run_answer, taken_back, trouble_html
from dashboard.trackside.entry import Entry, entry_in, record_of
from dashboard.trackside.fields import KINDS, READINGS, form_of
from dashboard.trackside.files import addresses, serve_files
from dashboard.trackside.page import View, document, unknown_pack
from dashboard.trackside.saving import Saved, answer_of, key_in, save, stored
from tracker.domain.session import Run
from tracker.errors import ConflictError, FieldErrors, InputError, NotFoundError, StoreError, TrackerError

REMEMBERED = {"pack": "log_pack", "vehicle": "log_vehicle", READINGS: "log_readings"}
"""What is as it was last time, and the cookie that says so; the script reads and writes the same."""
STAYS_S, MOST_COOKIE = 400 * 24 * 3600, 3_000

POLICY = "; ".join(
    [
        "default-src 'none'",
        *(f"{what} 'self'" for what in ("script-src", "style-src", "img-src", "connect-src", "manifest-src", "worker-src", "form-action")),
        "base-uri 'none'",
        "frame-ancestors 'none'",
    ]
)
"""Stricter than for the other pages: not even styles stand in this one."""

STATUS: tuple[tuple[type[TrackerError], int], ...] = (
    (FieldErrors, 422),
    (NotFoundError, 422),
    (ConflictError, 409),
    (InputError, 422),
    (StoreError, 503),
)
"""What each refusal is to the script: to be corrected, to be looked at, or to be tried again later."""


def connect(server: Flask, services: Services, menu: Sequence[MenuEntry]) -> None:
    """Put the page Log and its doors on the server."""
    doors = _Doors(services, menu)
    serve_files(server)
    server.add_url_rule(PATH, "log", doors.page, methods=["GET"])
    server.add_url_rule(PATH, "log_save", doors.save_form, methods=["POST"])
    server.add_url_rule(f"{PATH}/preview", "log_preview", doors.preview, methods=["POST"])
    server.add_url_rule(f"{PATH}/entries/<uuid:entry_id>", "log_entry", doors.take, methods=["PUT"])
    server.add_url_rule(f"{PATH}/undo", "log_undo", doors.undo, methods=["POST"])


class _Doors:
    def __init__(self, services: Services, menu: Sequence[MenuEntry]) -> None:
        self._services = services
        self._menu = menu

    def page(self) -> Response:
        """The page, with the pack and model of the address, else of last time."""
        texts = {name: request.args.get(name) or unquote(request.cookies.get(cookie, "")) for name, cookie in REMEMBERED.items()}
        notice, saved = self._told()
        return self._show(form_of(request.args.get("what", "")).kind, texts, notice=notice, saved=saved)

    def save_form(self) -> BaseResponse:
        """Save what a form without script sends; what is refused comes back as it was typed."""
        given = {name: request.form.get(name, "") for name in request.form}
        entry_id = _entry_id(given.get("entry_id", ""))
        entry = Entry(kind=form_of(given.get("kind", "")).kind, texts=given, at=datetime.now(UTC).replace(microsecond=0))
        try:
            saved = save(self._services, entry, entry_id)
        except (FieldErrors, NotFoundError) as error:
            return self._show(entry.kind, given, problems=_by_field(error), entry_id=entry_id, status=422)
        except TrackerError as error:
            return self._show(entry.kind, given, notice=trouble_html(str(error)), entry_id=entry_id, status=_status(error))
        pack, at = saved.key
        where = {"what": entry.kind, "saved": saved.change.id, "of": pack, "at": at.isoformat()}
        response = redirect(f"{PATH}?{urlencode(where, quote_via=quote)}", 303)
        for name, cookie in REMEMBERED.items():
            value = quote(given.get(name, ""), safe="")
            if name in given and len(value) <= MOST_COOKIE:
                response.set_cookie(cookie, value, max_age=STAYS_S, path=PATH, samesite="Lax", secure=request.is_secure)
        return response

    def preview(self) -> tuple[Response, int]:
        """What an entry would show; nothing is stored."""

        def answer() -> tuple[dict[str, Any], int]:
            record = record_of(_entry())
            if isinstance(record, Run):
                return {"html": run_answer(self._services.runs.preview(record))}, 200
            return {"html": charge_answer(record, self._services.charges.preview(record))}, 200

        body, status = _said(answer)
        # What is half typed is no fault: browsers write every refusal into their log.
        return body, 200 if status == 422 else status

    def take(self, entry_id: uuid.UUID) -> tuple[Response, int]:
        """Take an entry over, once, however often it is sent."""

        def answer() -> tuple[dict[str, Any], int]:
            saved = save(self._services, _entry(), str(entry_id))
            return {"html": self._html_of(saved), "words": saved.change.words, "change": saved.change.id}, 201 if saved.new else 200

        return _said(answer)

    def undo(self) -> BaseResponse | tuple[Response, int]:
        """Take a change back."""
        change = request.form.get("change", "")
        if "application/json" in request.headers.get("Accept", ""):
            return _said(lambda: ({"html": taken_back(self._services.edits.undo(change))}, 200))
        try:
            self._services.edits.undo(change)
        except TrackerError as error:
            return self._show("run", {}, notice=trouble_html(str(error)), status=_status(error))
        return redirect(f"{PATH}?{urlencode({'undone': change})}", 303)

    def _told(self) -> tuple[str, bool]:
        """What the address says has just happened, in words from the logbook, and whether that stands in place of the form."""
        asked = request.args
        if "undone" in asked:
            change = self._services.edits.done(asked["undone"])
            return (taken_back(change), False) if change is not None and change.undone else ("", False)
        key = key_in(asked.get("of"), asked.get("at"))
        if "saved" in asked and key is not None:
            saved = stored(self._services, form_of(asked.get("what", "")).kind, asked["saved"], key)
            return (self._html_of(saved), True) if saved is not None else ("", False)
        return "", False

    def _html_of(self, saved: Saved) -> str:
        return answer_of(self._services, saved)

    def _show(
        self,
        kind: str,
        texts: Mapping[str, str],
        *,
        problems: Mapping[str, str] | None = None,
        notice: str = "",
        saved: bool = False,
        entry_id: str | None = None,
        status: int = 200,
    ) -> Response:
        packs = self._services.packs.all()
        wanted = request.args.get("pack")
        if wanted and packs and wanted not in {pack.name for pack in packs}:
            notice += unknown_pack(wanted)
        view = View(
            kind=form_of(kind).kind,
            packs=packs,
            vehicles=[vehicle.name for vehicle in self._services.controllers.vehicles()],
            # The only pack there is need not be chosen.
            texts={
                **({"pack": packs[0].name} if len(packs) == 1 and not texts.get("pack") else {}),
                **_filled(texts),
                READINGS: texts.get(READINGS, ""),
            },
            entry_ids={form: entry_id if entry_id and form == kind else str(uuid.uuid4()) for form in KINDS},
            problems=problems or {},
            notice=notice,
            saved=saved,
        )
        response = Response(document(view, menu=self._menu, files=addresses()), status, mimetype="text/html")
        response.headers["Content-Security-Policy"] = POLICY
        return response


def _filled(texts: Mapping[str, str]) -> dict[str, str]:
    return {name: text for name, text in texts.items() if text}


def _entry() -> Entry:
    """The entry in the request."""
    try:
        return entry_in(request.get_json(silent=True))
    except RecursionError as error:
        raise InputError("This is not an entry: it is nested too deeply to be read.") from error


def _entry_id(text: str) -> str:
    """The id a form carries, or a new one where it carries none that is one."""
    try:
        return str(uuid.UUID(text))
    except ValueError:
        return str(uuid.uuid4())


def _said(answer: Callable[[], tuple[dict[str, Any], int]]) -> tuple[Response, int]:
    """The answer as JSON; a refusal as its words, and what is wrong by field."""
    try:
        body, status = answer()
    except TrackerError as error:
        body, status = {"words": str(error)}, _status(error)
        if isinstance(error, FieldErrors | NotFoundError):
            problems = problem_words(_by_field(error))
            body = {"words": " ".join(problems.values()), "problems": problems}
    return jsonify(body), status


def _by_field(error: FieldErrors | NotFoundError) -> dict[str, str]:
    """What is wrong with which field: what is not there any more is the pack."""
    return error.problems if isinstance(error, FieldErrors) else {"pack": str(error)}


def _status(error: TrackerError) -> int:
    return next((status for kind, status in STATUS if isinstance(error, kind)), 500)
