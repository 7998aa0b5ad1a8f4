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
    from dashboard.serving import Https
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
ready.

--https serves it encrypted, with a certificate this machine makes itself and
renews by itself; it says how a phone is told to trust it. Where you have a
certificate already, give it with --certificate and --key instead."""

SERVE_EXAMPLES = """\
  pack-tracker serve
  pack-tracker serve --port 9000
  pack-tracker serve --host 0.0.0.0 --https
  pack-tracker serve --host 0.0.0.0 --certificate club.pem --key club-key.pem"""


def add_to(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    demo = add_command(commands, "demo", "look around in an invented club's logbook", DEMO_DESCRIPTION, DEMO_EXAMPLES)
    _add_port(demo)
    demo.add_argument("--no-browser", action="store_true", help="only print the address")
    demo.set_defaults(run=run_demo)

    serve = add_command(commands, "serve", "show the dashboard of your logbook", SERVE_DESCRIPTION, SERVE_EXAMPLES)
    serve.add_argument("--host", metavar="HOST", type=words, default=DEFAULT_HOST, help=f"address to listen on (default {DEFAULT_HOST})")
    _add_port(serve)
    serve.add_argument("--https", action="store_true", help="serve encrypted, with a certificate made here")
    serve.add_argument("--certificate", metavar="FILE", type=_file, help="serve encrypted, with this certificate (PEM)")
    serve.add_argument("--key", metavar="FILE", type=_file, help="the certificate's private key (PEM)")
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
        _serve(services, args.host, args.port, open_browser=False, https=_https(args))
    return 0


def _serve(services: Services, host: str, port: int, *, open_browser: bool, https: Https | None = None) -> None:
    from dashboard.serving import run

    def tell(address: str) -> None:
        print("\n".join([f"The dashboard is at {address}", *_about_https(https, host, address), "Stop it with Ctrl-C."]), flush=True)
        if open_browser:
            import webbrowser

            webbrowser.open(address)

    run(services, host, port, ready=tell, https=https)


def _https(args: argparse.Namespace) -> Https | None:
    """How to serve encrypted, where that was asked for."""
    if not (args.https or args.certificate or args.key):
        return None
    from platformdirs import user_data_path

    from dashboard.serving import https_for

    return https_for(args.host, user_data_path("pack-health-tracker", appauthor=False) / "https", args.certificate, args.key)


def _about_https(https: Https | None, host: str, address: str) -> list[str]:
    """What a person needs to open it on a phone, and to be sure that it is this machine."""
    if https is None:
        return []
    from dashboard.serving import phone_addresses

    phone = phone_addresses(host, address, home_made=https.home_made is not None)
    lines = [f"On a phone in the same network: {' or '.join(phone)}"] if phone else []
    if https.home_made is None:
        return lines
    if https.home_made.news:
        lines += ["", https.home_made.news]
    where = (phone or (address,))[0].replace("https://", "http://", 1)
    return [
        *lines,
        f"How a phone is told to trust this machine: {where}certificate",
        "SHA-256 fingerprint of its authority, to be compared there and on the phone:",
        *(f"  {https.home_made.fingerprint[at : at + 48].rstrip(':')}" for at in (0, 48)),
        "",
    ]


def _file(text: str) -> Path:
    return Path(words(text)).expanduser()


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
