"""An answer that is no page of the dashboard: something sent was refused."""

from __future__ import annotations

from html import escape

from flask import Response

from dashboard.plain_page import plain_page


def refused_page(heading: str, words: str, status: int, *, back: str = "/data") -> Response:
    """A heading, what is to be said, and the way back."""
    paragraphs = "".join(f'<p class="reading">{escape(line)}</p>\n' for line in words.splitlines() if line.strip())
    response = plain_page(heading, f'{paragraphs}<p><a class="button" href="{escape(back)}">Back to Data</a></p>')
    response.status_code = status
    return response
