"""Running the dashboard until it is stopped."""

from __future__ import annotations

import errno
import gc
import os
import socket
import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from waitress.server import create_server

from dashboard.access import PASSWORD_VARIABLE, access_for
from dashboard.app import create_app
from dashboard.delivery import chart_script
from dashboard.encrypted_server import serve_encrypted
from dashboard.https import Https, from_files, made_here
from dashboard.machine import in_address, is_home, is_loopback, own_addresses, own_names
from dashboard.needs import Services
from tracker.errors import InputError

__all__ = ["Https", "address", "https_for", "listen", "phone_addresses", "run"]

THREADS = 8
EVERYWHERE = {"0.0.0.0": "127.0.0.1", "::": "[::1]"}  # noqa: S104  compared with, not bound
"""Hosts that mean every address of this machine, and under which of them it finds itself."""


def run(
    services: Services,
    host: str = "127.0.0.1",
    port: int = 8050,
    ready: Callable[[str], None] | None = None,
    *,
    password: str | None = None,
    https: Https | None = None,
) -> None:
    """Serve until interrupted; `ready` is told the address as soon as it answers. Port 0 takes any free one."""
    access = access_for(
        host,
        password if password is not None else os.environ.get(PASSWORD_VARIABLE),
        https=https is not None,
        authority=https.home_made if https else None,
        also=https.names if https else (),
    )
    with listen(host, port) as listener:
        app = create_app(services, access)
        threading.Thread(target=_get_ready, args=(services,), daemon=True).start()
        told = partial(ready or _nobody, address(host, listener.getsockname()[1], "https" if https else "http"))
        if https is not None:
            serve_encrypted(listener, app.server, https.context, THREADS, told, https.keep_up)
        else:
            _serve_plain(listener, app.server, told)


def https_for(host: str, folder: Path, certificate: Path | None, key: Path | None) -> Https:
    """How to speak https on that address: with the owner's certificate and key, or with what this machine makes itself in that folder."""
    if certificate is not None and key is not None:
        return from_files(certificate, key)
    if certificate is not None or key is not None:
        missing = "--key" if key is None else "--certificate"
        raise InputError(f"{missing} is missing: a certificate and its key are given together, or neither, and --https has one made.")
    return made_here(folder, host)


def phone_addresses(host: str, here: str, *, home_made: bool = False) -> tuple[str, ...]:
    """Where a phone in the same network finds what is served on that host and found `here` on this machine; nowhere on loopback.

    A certificate made here holds for addresses of home networks only.
    """
    if is_loopback(host):
        return ()
    hosts: list[str] = [in_address(host)]
    if host in EVERYWHERE:
        local = sorted(name for name in own_names() if name.endswith(".local"))
        hosts = [
            *(in_address(one) for one in own_addresses() if (one.version == 4 or host == "::") and (is_home(one) or not home_made)),
            *local,
        ]
    at = urlsplit(here)
    return tuple(f"{at.scheme}://{one}:{at.port}/" for one in hosts)


def _serve_plain(listener: socket.socket, app: Any, ready: Callable[[], None]) -> None:
    server = create_server(app, sockets=[listener], threads=THREADS, ident="", clear_untrusted_proxy_headers=True)
    ready()
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
    # What is there now stays for good. Looking it all through again and again for garbage held every twentieth answer up by a tenth of a second.
    gc.collect()
    gc.freeze()


def _nobody(_address: str) -> None:
    """Take the word that it is ready where nobody waits for it."""


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


def address(host: str, port: int, scheme: str = "http") -> str:
    """The address to open in a browser on this machine."""
    return f"{scheme}://{EVERYWHERE.get(host, in_address(host))}:{port}/"


def _refused(host: str, port: int, error: OSError) -> str:
    if error.errno in {errno.EADDRINUSE, errno.EACCES} and port:
        trouble = "is taken by another program" if error.errno == errno.EADDRINUSE else "needs rights this program does not have"
        with socket.create_server(("127.0.0.1", 0)) as free:
            return f"Port {port} {trouble}. Port {free.getsockname()[1]} is free: give --port {free.getsockname()[1]}."
    return f"Cannot listen on {host}, port {port}: {os.strerror(error.errno or 0)}. Give 127.0.0.1 or one of this machine's own addresses."
