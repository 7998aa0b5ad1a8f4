"""A page the server writes whole, without the frame: for what is printed, and for those who are not signed in."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from flask import Response


def plain_page(heading: str, body: str, *, menu: Sequence[tuple[str, str]] = (), current: str = "", head: str = "") -> Response:
    """A document with that heading; `body` and `head` are HTML in which everything a person wrote is escaped already."""
    links = "".join(
        f'<a class="menu-link" href="{target}"{" aria-current=page" if target == current else ""}>{escape(title)}</a>'
        for target, title in menu
    )
    navigation = f'<nav class="menu" aria-label="Pages">{links}</nav>' if links else ""
    brand = '<a class="brand" href="/">Pack tracker</a>' if links else '<span class="brand">Pack tracker</span>'
    text = f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{escape(heading)} · Pack tracker</title>
<link rel="icon" type="image/svg+xml" href="/assets/icon.svg">
<link rel="stylesheet" href="/assets/style.css">
{head}
</head>
<body>
<header class="top">{brand}{navigation}</header>
<main id="page">
<h1>{escape(heading)}</h1>
{body}
</main>
</body>
</html>"""
    return Response(text, mimetype="text/html")
