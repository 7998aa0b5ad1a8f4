"""Everything stored as one file to take away: logbook files packed together, or a copy of the database."""

from __future__ import annotations

import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from flask import Response, send_file

from dashboard.needs import ExchangeService

NAME = "pack-tracker"


def send_export(exchange: ExchangeService) -> Response:
    """Every record in CSV files, in one archive."""
    with _folder() as (folder, keep):
        files = exchange.export(folder / "logbook")
        archive = folder / "logbook.zip"
        with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as packed:
            for file in files:
                packed.write(file, file.relative_to(folder / "logbook").as_posix())
        return _sent(archive, f"{NAME}-logbook-{_today()}.zip", "application/zip", keep)


def send_backup(exchange: ExchangeService) -> Response:
    """A checked copy of the database."""
    with _folder() as (folder, keep):
        copy = exchange.backup(folder / "backup.sqlite3")
        return _sent(copy, f"{NAME}-backup-{_today()}.sqlite3", "application/vnd.sqlite3", keep)


class _Folder:
    """A temporary folder that stays as long as its file is being sent."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="pack-tracker-out-", ignore_cleanup_errors=True)
        self.kept = False

    @property
    def path(self) -> Path:
        """Where it is."""
        return Path(self._folder.name)

    def remove(self) -> None:
        """Remove it with all it holds."""
        self._folder.cleanup()


@contextmanager
def _folder() -> Iterator[tuple[Path, _Folder]]:
    folder = _Folder()
    try:
        yield folder.path, folder
    finally:
        if not folder.kept:
            folder.remove()


def _sent(file: Path, name: str, kind: str, folder: _Folder) -> Response:
    answer: Response = send_file(file, mimetype=kind, as_attachment=True, download_name=name, conditional=False, max_age=0)
    answer.headers["Cache-Control"] = "no-store"
    answer.call_on_close(folder.remove)
    folder.kept = True
    return answer


def _today() -> str:
    return datetime.now().astimezone().strftime("%Y-%m-%d")
