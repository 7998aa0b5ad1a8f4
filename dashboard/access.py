"""Who may talk to the dashboard, under which names, and what a browser may do with its pages."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from urllib.parse import urlsplit

from flask import Flask, Response, redirect, request
from werkzeug.wrappers import Response as BaseResponse

from dashboard.certificates import HomeMade
from dashboard.machine import LOOPBACK_NAMES, as_address, is_loopback, own_names
from tracker.errors import InputError

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
CERTIFICATE_PATH, AUTHORITY_PATH = "/certificate", "/certificate/authority.crt"
PLAIN_PATHS = frozenset({CERTIFICATE_PATH, AUTHORITY_PATH, "/assets/style.css", "/assets/icon.svg"})
"""What is also answered over plain http where the rest is not: the page on the certificate and what it is made of.

Nobody is asked to click a warning away to come to it. A warning clicked away protects no better, and nothing secret is
on it; that the certificate is the right one is seen by comparing its fingerprint, either way.
"""
BARE_POLICY = "default-src 'none'; frame-ancestors 'none'"
"""For everything that is not a page."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Access:
    """The names the dashboard answers to, and the password it asks for where it can be reached from other machines."""

    names: frozenset[str] = LOOPBACK_NAMES
    any_number: bool = False
    """Whether any numeric address will do: a foreign page cannot make a browser send one it chose, unlike a name."""
    password: str | None = None
    https: bool = False
    """Whether it is served over https; plain http on the same port then leads there, and does nothing else but hand out `authority`."""
    authority: HomeMade | None = None
    """The certificate authority a phone has to be told to trust, where this machine has its own."""

    @property
    def beyond_this_machine(self) -> bool:
        """Whether other machines can reach it."""
        return self.any_number


def access_for(
    host: str, password: str | None, *, https: bool = False, authority: HomeMade | None = None, also: Collection[str] = ()
) -> Access:
    """Access fit for the address to be listened on, under the names also given too; beyond this machine only with a password."""
    names = LOOPBACK_NAMES | frozenset(also)
    if is_loopback(host):
        return Access(names=names, password=password or None, https=https, authority=authority)
    if not password:
        raise InputError(
            f"Serving on {host} would let anybody on the network in. Set the environment variable {PASSWORD_VARIABLE} to a password "
            f"of at least {LEAST_PASSWORD} characters first, or serve on 127.0.0.1."
        )
    if len(password) < LEAST_PASSWORD:
        raise InputError(f"The password in {PASSWORD_VARIABLE} has {len(password)} characters. Give at least {LEAST_PASSWORD}.")
    names |= own_names() | {host.lower()}
    return Access(names=names, any_number=True, password=password, https=https, authority=authority)


def is_ours(host: str, access: Access) -> bool:
    """Whether a request's Host header names this program: stops a foreign name from being pointed here."""
    try:
        name = (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return False
    return name in access.names or (access.any_number and as_address(name) is not None)


def same_origin(origin: str | None, fetch_site: str | None, host: str, *, https: bool = False) -> bool:
    """Whether a request that may change something comes from our own pages, or from no page at all."""
    if fetch_site not in {None, "same-origin", "none"}:
        return False
    if origin is None:
        return True
    try:
        asking = urlsplit(origin)
    except ValueError:
        return False
    # Without https of our own there may still be somebody else's in front, so the scheme says nothing then.
    return asking.netloc == host and (asking.scheme == "https" or not https)


def guard(server: Flask, access: Access) -> None:
    """Refuse foreign names and foreign pages before anything else looks at a request."""

    @server.before_request
    def refuse_strangers() -> BaseResponse | None:
        if not is_ours(request.headers.get("Host", ""), access):
            return Response(
                "The dashboard does not answer under this name. Open it under the address it printed when it started.",
                400,
                mimetype="text/plain",
            )
        if access.https and not request.is_secure and not (access.authority and request.path in PLAIN_PATHS):
            return _towards_https()
        if request.method not in SAFE_METHODS and not same_origin(
            request.headers.get("Origin"), request.headers.get("Sec-Fetch-Site"), request.headers["Host"], https=access.https
        ):
            return Response("Requests from other sites are not taken.", 403, mimetype="text/plain")
        return None


def _towards_https() -> BaseResponse:
    """Lead a request that came unencrypted to the same place over https; what it wanted to change is not taken."""
    if request.method not in SAFE_METHODS:
        return Response("This is only taken over https.", 403, mimetype="text/plain")
    return redirect("https://" + request.url.removeprefix("http://"))


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
