"""The commands that show the dashboard: of one's own logbook, or of an invented club's."""

from __future__ import annotations

import argparse
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, NoReturn

from tracker.cli.options import Commands, add_command, open_chosen, words

if TYPE_CHECKING:
    from tracker.services import Services

DEFAULT_HOST = "127.0.0.1"
DEFAULT_PORT = 8050

DEMO_DESCRIPTION = """\
Shows the dashboard with the logbook of an invented club, to look around in. The
logbook lies in a throw-away database; it is gone when you stop with Ctrl-C, and
your own data are not touched."""

DEMO_EXAMPLES = """\
  pack-tracker demo
  pack-tracker demo --port 9000 --no-browser"""

SERVE_DESCRIPTION = """\
Shows the dashboard of your own logbook until you stop it with Ctrl-C. Only this
machine can see it unless --host says otherwise. /healthz answers 200 once it is
ready."""

SERVE_EXAMPLES = """\
  pack-tracker serve
  pack-tracker serve --port 9000"""


def add_to(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    demo = add_command(commands, "demo", "look around in an invented club's logbook", DEMO_DESCRIPTION, DEMO_EXAMPLES)
    _add_port(demo)
    demo.add_argument("--no-browser", action="store_true", help="only print the address")
    demo.set_defaults(run=run_demo)

    serve = add_command(commands, "serve", "show the dashboard of your logbook", SERVE_DESCRIPTION, SERVE_EXAMPLES)
    serve.add_argument("--host", metavar="HOST", type=words, default=DEFAULT_HOST, help=f"address to listen on (default {DEFAULT_HOST})")
    _add_port(serve)
    serve.set_defaults(run=run_serve)


def run_demo(args: argparse.Namespace) -> int:
    """Import the sample data into a throw-away database, assess and serve them."""
    from tempfile import TemporaryDirectory

    from tracker.cli.progress import ProgressLine
    from tracker.services import open_services

    with _stopping_cleanly(), TemporaryDirectory(prefix="pack-tracker-demo-", ignore_cleanup_errors=True) as folder:
        database = Path(folder) / "demo.sqlite3"
        with open_services(f"sqlite:///{database}") as services:
            with ProgressLine() as progress:
                services.exchange.load_demo(progress)
                services.runs.refresh(progress=progress)
            _serve(services, DEFAULT_HOST, args.port, open_browser=not args.no_browser)
    return 0


def run_serve(args: argparse.Namespace) -> int:
    """Serve the dashboard of the chosen database."""
    with _stopping_cleanly(), open_chosen(args) as services:
        _serve(services, args.host, args.port, open_browser=False)
    return 0


def _serve(services: Services, host: str, port: int, *, open_browser: bool) -> None:
    from dashboard.serving import run

    def tell(address: str) -> None:
        print(f"The dashboard is at {address}\nStop it with Ctrl-C.", flush=True)
        if open_browser:
            import webbrowser

            webbrowser.open(address)

    run(services, host, port, ready=tell)


def _add_port(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--port", metavar="PORT", type=int, default=DEFAULT_PORT, help=f"port to listen on, 0 for any free one (default {DEFAULT_PORT})"
    )


@contextmanager
def _stopping_cleanly() -> Iterator[None]:
    """Make the system's request to end the program end it as Ctrl-C does, so that what is open is closed and removed."""
    if threading.current_thread() is not threading.main_thread():  # only the main thread may say what signals do
        yield
        return
    before = signal.signal(signal.SIGTERM, _interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _interrupt(_number: int, _frame: FrameType | None) -> NoReturn:
    raise KeyboardInterrupt
