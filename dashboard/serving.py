"""Running the dashboard until it is stopped."""

from __future__ import annotations

import errno
import os
import socket
import threading
from collections.abc import Callable

from waitress.server import create_server

from dashboard.access import PASSWORD_VARIABLE, access_for
from dashboard.app import create_app
from dashboard.delivery import chart_script
from dashboard.needs import Services
from tracker.errors import InputError

THREADS = 8


def run(
    services: Services,
    host: str = "127.0.0.1",
    port: int = 8050,
    ready: Callable[[str], None] | None = None,
    *,
    password: str | None = None,
) -> None:
    """Serve until interrupted; `ready` is told the address as soon as it answers. Port 0 takes any free one."""
    access = access_for(host, password if password is not None else os.environ.get(PASSWORD_VARIABLE))
    listener = listen(host, port)
    try:
        app = create_app(services, access)
        server = create_server(app.server, sockets=[listener], threads=THREADS, ident="", clear_untrusted_proxy_headers=True)
    except BaseException:
        listener.close()
        raise
    threading.Thread(target=_get_ready, args=(services,), daemon=True).start()
    if ready is not None:
        ready(address(host, listener.getsockname()[1]))
    try:
        server.run()
    finally:
        server.close()


def _get_ready(services: Services) -> None:
    """Do once what the first visitor would wait for: what figures and plans are made with, and the chart library, packed."""
    import plotly.graph_objects as go

    go.Figure(go.Scatter(x=[0.0], y=[0.0])).update_layout(annotations=[{"text": ""}], shapes=[{"type": "line"}])
    services.planning.warm_up()
    chart_script()


def listen(host: str, port: int) -> socket.socket:
    """A listening socket on that address, or words why there is none."""
    if not 0 <= port <= 65535:
        raise InputError(f"Port {port} does not exist. Give one from 1024 to 65535, or 0 for any that is free.")
    try:
        family, kind, protocol, _, place = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[0]
    except OSError as error:
        raise InputError(f"{host} is not an address of this machine. Give 127.0.0.1, 0.0.0.0 or one of its own addresses.") from error
    listener = socket.socket(family, kind, protocol)
    try:
        if os.name == "posix":
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(place)
        listener.listen(128)
    except OSError as error:
        listener.close()
        raise InputError(_refused(host, port, error)) from error
    return listener


def address(host: str, port: int) -> str:
    """The address to open in a browser on this machine."""
    shown = {"0.0.0.0": "127.0.0.1", "::": "[::1]"}.get(host, f"[{host}]" if ":" in host else host)  # noqa: S104  shown, not bound
    return f"http://{shown}:{port}/"


def _refused(host: str, port: int, error: OSError) -> str:
    if error.errno in {errno.EADDRINUSE, errno.EACCES} and port:
        trouble = "is taken by another program" if error.errno == errno.EADDRINUSE else "needs rights this program does not have"
        with socket.create_server(("127.0.0.1", 0)) as free:
            return f"Port {port} {trouble}. Port {free.getsockname()[1]} is free: give --port {free.getsockname()[1]}."
    return f"Cannot listen on {host}, port {port}: {os.strerror(error.errno or 0)}. Give 127.0.0.1 or one of this machine's own addresses."
