"""What goes over the wire, small: compressed once where it never changes, and kept by the browser where it may."""

from __future__ import annotations

import gzip
import hashlib
from functools import cache
from importlib.resources import files

from flask import Flask, Response, request

SMALL_BYTES = 1200
"""Below about one network packet there is nothing to gain."""

FOR_GOOD = "public, max-age=31536000, immutable"
COMPRESSIBLE = frozenset({"text/html", "text/css", "text/javascript", "application/javascript", "application/json", "image/svg+xml"})
SUITES = "/_dash-component-suites/"


@cache
def chart_address() -> str:
    """Address of the chart library that the installed plotly brings; it changes with the contents."""
    return f"/charts-{hashlib.sha256(_chart_bytes()).hexdigest()[:16]}.js"


@cache
def chart_script() -> bytes:
    """The chart library, compressed once."""
    return gzip.compress(_chart_bytes(), compresslevel=9, mtime=0)


def _chart_bytes() -> bytes:
    return (files("plotly") / "package_data" / "plotly.min.js").read_bytes()


def deliver(server: Flask) -> None:
    """Serve the chart library and compress every answer that is worth it."""
    server.add_url_rule(chart_address(), "chart_script", _send_chart_script)
    kept: dict[str, bytes] = {}

    @server.after_request
    def compress(response: Response) -> Response:
        if response.status_code != 200 or response.mimetype not in COMPRESSIBLE or "Content-Encoding" in response.headers:
            return response
        lasting = request.path.startswith((SUITES, "/assets/"))
        if lasting and "m" in request.args:
            response.headers["Cache-Control"] = FOR_GOOD
        response.headers["Vary"] = "Accept-Encoding"
        if "gzip" not in request.headers.get("Accept-Encoding", ""):
            return response
        response.direct_passthrough = False
        body = response.get_data()
        if len(body) < SMALL_BYTES:
            return response
        if lasting:
            key = f"{request.path} {hashlib.sha256(body).hexdigest()}"
            packed = kept.get(key) or kept.setdefault(key, gzip.compress(body, compresslevel=9, mtime=0))
        else:
            packed = gzip.compress(body, compresslevel=4, mtime=0)
        response.set_data(packed)
        response.headers["Content-Encoding"] = "gzip"
        # The tag was made for the plain bytes; as a weak one it still tells whether the contents are the same.
        etag, _ = response.get_etag()
        if etag:
            response.set_etag(etag, weak=True)
        return response


def _send_chart_script() -> Response:
    packed = chart_script()
    if "gzip" in request.headers.get("Accept-Encoding", ""):
        response = Response(packed, mimetype="text/javascript")
        response.headers["Content-Encoding"] = "gzip"
    else:
        response = Response(gzip.decompress(packed), mimetype="text/javascript")
    response.headers["Cache-Control"] = FOR_GOOD
    response.headers["Vary"] = "Accept-Encoding"
    return response
