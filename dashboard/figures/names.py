"""Names given by people, made fit for a chart, which would take angle brackets in them for instructions."""

from __future__ import annotations

from html import escape


def chart_name(name: str, most: int = 200) -> str:
    """The name as text, cut to so many characters."""
    return escape(name if len(name) <= most else name[: max(most - 1, 1)] + "…", quote=False)
