"""Attributes with a hyphen, which Python cannot write as keywords: for screen readers, and for the style sheet."""

from __future__ import annotations

from typing import Any


def aria(**attributes: str) -> dict[str, Any]:
    """As ARIA attributes: aria(label="Pages") names an element, aria(hidden="true") keeps it from being read out."""
    return {f"aria-{name}": value for name, value in attributes.items()}


def data(**attributes: str) -> dict[str, Any]:
    """As data attributes, for the style sheet."""
    return {f"data-{name}": value for name, value in attributes.items()}
