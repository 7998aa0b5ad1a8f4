"""The sign-in page, and the signed session that remembers who has been let in."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import time
from collections import defaultdict, deque
from datetime import timedelta
from html import escape
from urllib.parse import quote, urlencode

from flask import Flask, Response, redirect, request, session
from werkzeug.wrappers import Response as BaseResponse

PATH = "/sign-in"
OPEN_PATHS = frozenset({PATH, "/healthz", "/assets/style.css", "/assets/icon.svg"})
TRIES, TRIES_WITHIN_S = 5, 60.0
STAYS = timedelta(days=30)


class Password:
    """A password as a salted scrypt hash; the text itself is not kept."""

    def __init__(self, password: str) -> None:
        self._salt = secrets.token_bytes(16)
        self._hash = self._hashed(password)

    def matches(self, given: str) -> bool:
        """Whether this is the password, in a time that does not tell how much of it was right."""
        return hmac.compare_digest(self._hash, self._hashed(given))

    def _hashed(self, password: str) -> bytes:
        return hashlib.scrypt(password.encode(), salt=self._salt, n=2**14, r=8, p=1)


class Tries:
    """Wrong passwords of the last minute by where they came from."""

    def __init__(self) -> None:
        self._wrong: dict[str, deque[float]] = defaultdict(deque)

    def too_many(self, place: str, now: float) -> bool:
        """Whether this place has to wait."""
        wrong = self._wrong[place]
        while wrong and wrong[0] < now - TRIES_WITHIN_S:
            wrong.popleft()
        if not wrong:
            del self._wrong[place]
        return len(wrong) >= TRIES

    def add(self, place: str, now: float) -> None:
        """Count one wrong password."""
        self._wrong[place].append(now)


def require_sign_in(server: Flask, password: str, *, https: bool = False, also_open: frozenset[str] = frozenset()) -> None:
    """Let nobody past without the password, except to the sign-in page, the health check and what else is open."""
    open_paths = OPEN_PATHS | also_open
    stored, tries = Password(password), Tries()
    server.secret_key = secrets.token_bytes(32)
    server.permanent_session_lifetime = STAYS
    server.config.update(SESSION_COOKIE_NAME="pack_tracker", SESSION_COOKIE_HTTPONLY=True, SESSION_COOKIE_SAMESITE="Lax")
    # No Strict-Transport-Security beside it: that holds for every port of a name, also for what else runs on this machine without https.
    server.config["SESSION_COOKIE_SECURE"] = https

    @server.before_request
    def let_in() -> BaseResponse | None:
        if session.get("signed_in") is True or request.path in open_paths:
            return None
        if request.method == "GET" and request.accept_mimetypes.accept_html and not request.path.startswith("/_dash"):
            return redirect(f"{PATH}?" + urlencode({"next": _asked_for()}))
        return Response("Please sign in.", 401, mimetype="text/plain")

    def page() -> BaseResponse:
        wanted = safe_target(request.values.get("next", "/"))
        if request.method == "GET":
            return _page(wanted, "", 200)
        place, now = request.remote_addr or "", time.monotonic()
        if tries.too_many(place, now):
            return _page(wanted, "Too many wrong passwords. Wait a minute, then try again.", 429)
        if not stored.matches(request.form.get("password", "")):
            tries.add(place, now)
            return _page(wanted, "That is not the password. It is the one set where the program was started.", 403)
        session.clear()
        session["signed_in"] = True
        session.permanent = True
        return redirect(wanted)

    server.add_url_rule(PATH, "sign_in", page, methods=["GET", "POST"])


def safe_target(wanted: str) -> str:
    """Where to go after signing in: only to a place of our own."""
    return wanted if wanted.startswith("/") and not wanted.startswith(("//", "/\\")) and wanted.isprintable() else "/"


def _asked_for() -> str:
    """The address asked for, encoded again: the web server has taken the percent signs out of its path."""
    query = request.query_string.decode("ascii", errors="replace")
    return quote(request.path) + (f"?{query}" if query else "")


def _page(wanted: str, problem: str, status: int) -> Response:
    about = 'aria-describedby="problem" aria-invalid="true"' if problem else ""
    text = f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>Sign in · Pack tracker</title>
<link rel="icon" type="image/svg+xml" href="/assets/icon.svg">
<link rel="stylesheet" href="/assets/style.css">
</head>
<body>
<header class="top"><span class="brand">Pack tracker</span></header>
<main>
<h1>Sign in</h1>
<form method="post" action="{PATH}" class="sign-in">
<input type="hidden" name="next" value="{escape(wanted)}">
<label for="password">Password</label>
<input id="password" name="password" type="password" autocomplete="current-password" required autofocus {about}>
{f'<p id="problem" role="alert" class="problem">{escape(problem)}</p>' if problem else ""}
<button type="submit">Sign in</button>
</form>
</main>
</body>
</html>"""
    return Response(text, status, mimetype="text/html")
