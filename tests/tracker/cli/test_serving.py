"""Serving one's own logbook and the demo, as separate programs."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from tests.tracker.cli.conftest import Command

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals are sent as POSIX systems do")


def start(*argv: str, home: Path) -> tuple[subprocess.Popen[str], str]:
    """Start a command that serves, and return it with the address it printed."""
    temporary = home / "temporary"
    temporary.mkdir()
    serving = subprocess.Popen(
        [sys.executable, "-m", "tracker.cli.main", *argv, "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "TMPDIR": str(temporary)},
    )
    assert serving.stdout is not None
    line = serving.stdout.readline()
    match = re.search(r"http://\S+", line)
    if match is None:
        serving.kill()
        pytest.fail(f"no address but {line!r}; {serving.communicate()[1]}")
    return serving, match.group()


def ask(address: str, path: str) -> tuple[int, str]:
    with urllib.request.urlopen(address.rstrip("/") + path, timeout=30) as answer:
        return answer.status, answer.read().decode()


def test_serve_until_interrupted(filled: Command, at_home: Path) -> None:
    serving, address = start("serve", home=at_home)
    try:
        assert ask(address, "/healthz")[0] == 200
    finally:
        serving.send_signal(signal.SIGINT)
        _, err = serving.communicate(timeout=30)
    assert serving.returncode == 0  # it is how one stops it
    assert "Traceback" not in err


def test_demo_is_gone_when_it_is_asked_to_end(at_home: Path) -> None:
    serving, address = start("demo", "--no-browser", home=at_home)
    try:
        assert ask(address, "/healthz")[0] == 200
        assert list((at_home / "temporary").glob("pack-tracker-demo-*"))
    finally:
        serving.send_signal(signal.SIGTERM)
        _, err = serving.communicate(timeout=30)
    assert "Traceback" not in err
    assert not list((at_home / "temporary").glob("pack-tracker-demo-*"))
    assert not (at_home / "logbook.sqlite3").exists()


@pytest.mark.parametrize("argv", [["serve", "--port", "99999999"], ["serve", "--port", "-1"], ["serve", "--host", "no.such.host.invalid"]])
def test_what_cannot_be_listened_on_is_refused(run: Command, argv: list[str]) -> None:
    said = run(*argv)
    assert said.status == 1
    assert said.err.startswith("pack-tracker: ")
