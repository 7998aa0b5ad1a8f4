"""Who may talk to the dashboard, under which names, and what a browser may do with its pages."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from urllib.parse import urlsplit

from flask import Flask, Response, request

from tracker.errors import InputError

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
PASSWORD_VARIABLE = "PACK_TRACKER_PASSWORD"  # noqa: S105  the name of the variable, not a password
LEAST_PASSWORD = 8

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}
BARE_POLICY = "default-src 'none'; frame-ancestors 'none'"
"""For everything that is not a page."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Access:
    """The names the dashboard answers to, and the password it asks for where it can be reached from other machines."""

    names: frozenset[str] = LOOPBACK_NAMES
    any_number: bool = False
    """Whether any numeric address will do: a foreign page cannot make a browser send one it chose, unlike a name."""
    password: str | None = None


def access_for(host: str, password: str | None) -> Access:
    """Access fit for the address to be listened on; beyond this machine only with a password."""
    if is_loopback(host):
        return Access(password=password or None)
    if not password:
        raise InputError(
            f"Serving on {host} would let anybody on the network in. Set the environment variable {PASSWORD_VARIABLE} to a password "
            f"of at least {LEAST_PASSWORD} characters first, or serve on 127.0.0.1."
        )
    if len(password) < LEAST_PASSWORD:
        raise InputError(f"The password in {PASSWORD_VARIABLE} has {len(password)} characters. Give at least {LEAST_PASSWORD}.")
    own = socket.gethostname().lower()
    return Access(names=LOOPBACK_NAMES | {own, f"{own.split('.')[0]}.local", host.lower()}, any_number=True, password=password)


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach that address."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def is_ours(host: str, access: Access) -> bool:
    """Whether a request's Host header names this program: stops a foreign name from being pointed here."""
    try:
        name = (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return False
    if name in access.names:
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return access.any_number


def same_origin(origin: str | None, fetch_site: str | None, host: str) -> bool:
    """Whether a request that may change something comes from our own pages, or from no page at all."""
    if fetch_site not in {None, "same-origin", "none"}:
        return False
    return origin is None or urlsplit(origin).netloc == host


def guard(server: Flask, access: Access) -> None:
    """Refuse foreign names and foreign pages before anything else looks at a request."""

    @server.before_request
    def refuse_strangers() -> Response | None:
        if not is_ours(request.headers.get("Host", ""), access):
            return Response(
                "The dashboard does not answer under this name. Open it under the address it printed when it started.",
                400,
                mimetype="text/plain",
            )
        if request.method not in SAFE_METHODS and not same_origin(
            request.headers.get("Origin"), request.headers.get("Sec-Fetch-Site"), request.headers["Host"]
        ):
            return Response("Requests from other sites are not taken.", 403, mimetype="text/plain")
        return None


def protect(server: Flask, script_hashes: Callable[[], Sequence[str]]) -> None:
    """Set the headers that tell a browser what our pages may do; no inline script runs but those with these hashes.

    An answer that comes with a policy of its own keeps it: the page Log and its worker.
    """

    @server.after_request
    def set_headers(response: Response) -> Response:
        html = response.mimetype == "text/html"
        # Asked anew for each document: some inline scripts are only known once the first page has been asked for.
        if "Content-Security-Policy" not in response.headers:
            response.headers["Content-Security-Policy"] = content_policy(script_hashes()) if html else BARE_POLICY
        for name, value in HEADERS.items():
            response.headers[name] = value
        if response.mimetype in {"text/html", "application/json"}:
            response.headers["Cache-Control"] = "no-store"
        return response


def content_policy(script_hashes: Sequence[str]) -> str:
    """The content security policy: everything from here, scripts strictly."""
    return "; ".join(
        [
            "default-src 'none'",
            f"script-src 'self' {' '.join(script_hashes)}".rstrip(),
            # The chart library writes its style rules into the page.
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "connect-src 'self'",
            "font-src 'self'",
            "manifest-src 'self'",
            "worker-src 'self'",
            "form-action 'self'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        ]
    )
