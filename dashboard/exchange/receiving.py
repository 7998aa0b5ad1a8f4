"""Taking files from a form: how large and how many, and a clear answer instead of a broken line when it is too much."""

from __future__ import annotations

from flask import request
from werkzeug.datastructures import FileStorage
from werkzeug.exceptions import RequestEntityTooLarge

from dashboard.exchange.waiting import MEBIBYTE
from tracker.errors import InputError

MOST_FILES_BYTES, MOST_BACKUP_BYTES = 64 * MEBIBYTE, 512 * MEBIBYTE
MOST_FILES = 200
AROUND_BYTES = MEBIBYTE
"""What a form adds around its files."""
_DRAINED_BYTES = 4096 * MEBIBYTE
_AT_ONCE_BYTES = 1 * MEBIBYTE


class TooLargeError(InputError):
    """More was sent than is taken."""


def receive(field: str, most_bytes: int) -> list[FileStorage]:
    """Return the files of the form that was sent; InputError when there are none, TooLargeError when they are too large."""
    length = request.content_length
    if length is None:
        raise InputError("The length of what was sent is not told. Send the files with the form on the page Data.")
    if length > most_bytes + AROUND_BYTES:
        # A browser reads the answer only after it has sent everything; without this the line would seem to break.
        _drain(min(length, _DRAINED_BYTES))
        raise too_large(length, most_bytes)
    request.max_content_length = most_bytes + AROUND_BYTES
    try:
        files = [file for file in request.files.getlist(field) if file.filename]
    except RequestEntityTooLarge as error:
        raise TooLargeError(f"More fields were sent than a form has. Choose up to {MOST_FILES} files at a time.") from error
    if not files:
        raise InputError("No file was sent. Choose one or more files first.")
    if len(files) > MOST_FILES:
        raise InputError(f"{len(files):,} files were sent. Choose up to {MOST_FILES} at a time.")
    return files


def too_large(size_bytes: int, most_bytes: int) -> TooLargeError:
    """The words for it."""
    return TooLargeError(
        f"{size_bytes / MEBIBYTE:,.0f} MiB were sent; up to {most_bytes // MEBIBYTE} MiB are taken at a time. Choose fewer or smaller files, "
        "or use the command line on the machine the program runs on, which has no such limit. Nothing was kept."
    )


def _drain(length: int) -> None:
    stream = request.environ["wsgi.input"]
    while length > 0:
        part = stream.read(min(length, _AT_ONCE_BYTES))
        if not part:
            return
        length -= len(part)
