"""A whole small page for an answer that is no page of the dashboard: something sent was refused."""

from __future__ import annotations

from html import escape

from flask import Response


def plain_page(heading: str, words: str, status: int, *, back: str = "/data") -> Response:
    """A heading, what is to be said, and the way back."""
    paragraphs = "".join(f"<p>{escape(line)}</p>\n" for line in words.splitlines() if line.strip())
    text = f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{escape(heading)} · Pack tracker</title>
<link rel="icon" type="image/svg+xml" href="/assets/icon.svg">
<link rel="stylesheet" href="/assets/style.css">
</head>
<body>
<header class="top"><a class="brand" href="/">Pack tracker</a></header>
<main class="reading">
<h1>{escape(heading)}</h1>
{paragraphs}<p><a class="button" href="{escape(back)}">Back to Data</a></p>
</main>
</body>
</html>"""
    return Response(text, status, mimetype="text/html")
