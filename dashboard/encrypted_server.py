"""A web server that speaks https, and plain http on the same port for those who have yet to learn that it does.

A connection waits with the sleeping ones until something has come, and shakes hands in the thread that will serve
it: one that connects and stays silent keeps nobody waiting.
"""

from __future__ import annotations

import logging
import socket
import ssl
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from cheroot.makefile import MakeFile
from cheroot.server import HTTPConnection
from cheroot.wsgi import Server

LOG = logging.getLogger("dashboard")

HANDSHAKE = b"\x16"
"""The first byte of everybody who speaks TLS (RFC 8446, 5.1: content type handshake)."""
SILENT_S = 10
KEEP_UP_S = 300.0
MOST_HEADER_BYTES = 64 * 1024


class Connection(HTTPConnection):
    """A connection whose first byte says whether it is encrypted."""

    met = False

    def communicate(self) -> bool:
        """Answer what has come; say whether the connection stays open."""
        if not self.met:
            self.met = True
            try:
                if not self._meet():
                    return False
            except OSError as error:
                # A browser that does not trust the certificate, or went away: it knows by itself.
                LOG.info("no handshake with %s: %s", self.remote_addr, error)
                return False
        answered: Any = super()
        return bool(answered.communicate())

    def close(self) -> None:
        """Hang up, also where the other side has hung up before; cheroot would end the whole server over it."""
        with suppress(OSError):
            parent: Any = super()
            parent.close()

    def _meet(self) -> bool:
        first = self.socket.recv(1, socket.MSG_PEEK)
        if first == HANDSHAKE:
            # Wrapped first and greeted then: where the greeting fails there is still a socket to close.
            self.socket = self.server.context.wrap_socket(self.socket, server_side=True, do_handshake_on_connect=False)
            self.socket.do_handshake()
            self.rfile, self.wfile = MakeFile(self.socket, "rb", self.rbufsize), MakeFile(self.socket, "wb", self.wbufsize)
            self.ssl_env = {"wsgi.url_scheme": "https", "HTTPS": "on"}
        return bool(first)


class EncryptedServer(Server):
    """Serves an application on a socket that listens already."""

    ConnectionClass = Connection
    max_request_header_size = MOST_HEADER_BYTES

    def __init__(self, listener: socket.socket, app: Any, context: ssl.SSLContext, threads: int) -> None:
        super().__init__(listener.getsockname()[:2], app, numthreads=threads, server_name="pack-tracker", timeout=SILENT_S)
        self.listener, self.context = listener, context

    def bind(self, family: int, type: int, proto: int = 0) -> socket.socket:  # noqa: A002  cheroot's name
        """Take the socket there is."""
        self.socket = self.listener
        return self.listener

    def process_conn(self, conn: Connection) -> None:
        """Hand a connection to a thread as soon as there is something to do."""
        if conn.met or conn.last_used is not None:
            super().process_conn(conn)
        else:
            self.put_conn(conn)

    def put_conn(self, conn: Connection) -> None:
        """Lay a connection to the sleeping ones, unless part of what came is still inside the decryption, where nothing would wake it."""
        if isinstance(conn.socket, ssl.SSLSocket) and conn.socket.pending():
            super().process_conn(conn)
        else:
            super().put_conn(conn)

    def error_log(self, msg: str = "", level: int = logging.INFO, traceback: bool = False) -> None:
        """Write to the log of the dashboard."""
        LOG.log(level, "%s", msg, exc_info=traceback)


def serve_encrypted(
    listener: socket.socket,
    app: Any,
    context: ssl.SSLContext,
    threads: int,
    ready: Callable[[], None],
    keep_up: Callable[[], None] | None = None,
) -> None:
    """Serve until interrupted."""
    server = EncryptedServer(listener, app, context, threads)
    ended = threading.Event()
    if keep_up is not None:
        threading.Thread(target=_keeping_up, args=(keep_up, ended), daemon=True).start()
    try:
        server.prepare()
        ready()
        server.serve()
    except KeyboardInterrupt:  # it is how one stops it
        pass
    finally:
        ended.set()
        server.stop()


def _keeping_up(keep_up: Callable[[], None], ended: threading.Event) -> None:
    while not ended.wait(KEEP_UP_S):
        try:
            keep_up()
        except Exception:  # what is in use goes on being served with; the log says what went wrong
            LOG.exception("the certificate could not be renewed")
