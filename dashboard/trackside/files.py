"""The page's own files, each under an address that changes with its contents, and the worker that keeps them on the phone."""

from __future__ import annotations

import hashlib
import json
from functools import cache
from importlib.resources import files

from flask import Flask, Response, abort

from dashboard.delivery import FOR_GOOD
from dashboard.frame import NAME

PREFIX = "/log/files"
TYPES = {
    "log.css": "text/css",
    "store.js": "text/javascript",
    "queue.js": "text/javascript",
    "form.js": "text/javascript",
    "log.js": "text/javascript",
}
ICON = "/assets/icon.svg"
WORKER_POLICY = "default-src 'none'; connect-src 'self'"
"""What the worker may fetch is decided by the policy it came with."""


@cache
def addresses() -> dict[str, str]:
    """Address of each file."""
    return {name: f"{PREFIX}/{hashlib.sha256(_bytes(name)).hexdigest()[:12]}/{name}" for name in TYPES}


def serve_files(server: Flask) -> None:
    """Serve the files, the worker, and the description by which a phone puts the page among its programs."""
    server.add_url_rule(f"{PREFIX}/<version>/<name>", "log_file", _file)
    server.add_url_rule("/log/worker.js", "log_worker", _worker)
    server.add_url_rule("/log/app.webmanifest", "log_manifest", _manifest)


def _file(version: str, name: str) -> Response:
    if addresses().get(name) != f"{PREFIX}/{version}/{name}":
        abort(404)
    response = Response(_bytes(name), mimetype=TYPES[name])
    response.headers["Cache-Control"] = FOR_GOOD
    return response


def _worker() -> Response:
    """The worker, told which files there are: it changes when one of them does, and the phone then fetches them anew."""
    kept = ["/log", ICON, *addresses().values()]
    told = f'const KEPT = {json.dumps(kept)};\nconst NAME = "log-{hashlib.sha256(json.dumps(kept).encode()).hexdigest()[:12]}";\n'
    response = Response(told.encode() + _bytes("worker.js"), mimetype="text/javascript")
    response.headers["Cache-Control"] = "no-cache"
    response.headers["Service-Worker-Allowed"] = "/log"
    response.headers["Content-Security-Policy"] = WORKER_POLICY
    return response


def _manifest() -> Response:
    described = {
        "id": "/log",
        "name": f"{NAME}: Log",
        "short_name": "Log",
        "description": "Write down runs and charges of battery packs.",
        "start_url": "/log",
        "scope": "/log",
        "display": "standalone",
        "background_color": "#faf9f5",
        "theme_color": "#17414d",
        "icons": [{"src": ICON, "sizes": "any", "type": "image/svg+xml"}],
    }
    return Response(json.dumps(described), mimetype="application/manifest+json")


@cache
def _bytes(name: str) -> bytes:
    return (files("dashboard") / "trackside" / name).read_bytes()
