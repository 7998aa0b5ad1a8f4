"""Commands run in this process, on a database of their own."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.tracker.small_logbook import write
from tracker.cli.main import main


@dataclass(frozen=True)
class Said:
    """How a command ended and what it printed."""

    status: int
    out: str
    err: str

    def document(self) -> Any:
        """The one JSON document on standard output."""
        assert self.status == 0, self.err
        return json.loads(self.out)


Command = Callable[..., Said]


@pytest.fixture
def at_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep everything a command may write in a folder of the test's."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("PACK_TRACKER_DATABASE", f"sqlite:///{tmp_path / 'logbook.sqlite3'}")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def run(at_home: Path, capsys: pytest.CaptureFixture[str]) -> Command:
    def command(*argv: str) -> Said:
        capsys.readouterr()
        status = main(argv)
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return Said(status, out, err)

    return command


@pytest.fixture
def filled(run: Command, at_home: Path) -> Command:
    assert run("import", *map(str, write(at_home / "small"))).status == 0
    return run
