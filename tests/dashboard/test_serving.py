"""Starting and stopping for real: ports taken, hosts that are none, and the word that it is ready."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from dashboard.serving import address, listen, run
from tests.dashboard.fakes import empty_services
from tracker.errors import InputError

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = """
from dashboard.serving import run
from tests.dashboard.fakes import club_services
run(club_services(), port=0, ready=lambda url: print(url, flush=True))
"""


def test_a_port_in_use_is_said_with_one_that_is_free() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(InputError, match=rf"Port {port} is taken by another program\. Port \d+ is free: give --port \d+") as refused:
            listen("127.0.0.1", port)
    free = re.search(r"--port (\d+)", str(refused.value))
    assert free is not None
    listen("127.0.0.1", int(free[1])).close()


@pytest.mark.parametrize("port", [-1, 65536, 99999])
def test_a_port_that_cannot_be_is_refused(port: int) -> None:
    with pytest.raises(InputError, match="does not exist"):
        listen("127.0.0.1", port)


def test_a_host_that_is_not_this_machine_is_refused() -> None:
    with pytest.raises(InputError, match=re.escape("203.0.113.7")):
        listen("203.0.113.7", 0)


def test_serving_everybody_without_a_password_is_refused_before_anything_listens(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("PACK_TRACKER_PASSWORD", raising=False)
    with pytest.raises(InputError, match="PACK_TRACKER_PASSWORD"):
        run(empty_services(), "0.0.0.0", 0)


def test_the_address_shown_can_be_opened() -> None:
    assert address("0.0.0.0", 8050) == "http://127.0.0.1:8050/"
    assert address("::1", 8050) == "http://[::1]:8050/"


def test_it_answers_as_soon_as_it_says_ready_and_ends_quietly() -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", SCRIPT],
        cwd=ROOT,
        env=os.environ | {"PACK_TRACKER_PASSWORD": ""},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        url = process.stdout.readline().strip()
        with urllib.request.urlopen(f"{url}healthz", timeout=20) as answer:
            assert answer.status == 200
    finally:
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=20)
    assert "Traceback" not in errors
