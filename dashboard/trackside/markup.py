"""Small pieces of HTML text, with whatever a person typed made harmless."""

from __future__ import annotations

from html import escape

from dashboard.components.marks import GRADE_WORDS, SEVERITY_WORDS
from dashboard.theme import unbroken


def attributes(**given: str | bool | None) -> str:
    """Attributes of a tag, each with a blank before it; those that are None or False are left out, an underscore stands for a dash."""
    kept = [(name.rstrip("_").replace("_", "-"), value) for name, value in given.items() if value is not None and value is not False]
    return "".join(f" {name}" if value is True else f' {name}="{escape(str(value))}"' for name, value in kept)


def name_html(name: str) -> str:
    """A name given by a person, kept from changing the direction of the text around it."""
    return f"<bdi>{escape(name)}</bdi>"


def said(words: str) -> str:
    """Words of the program, as text."""
    return escape(unbroken(words))


def sentence(words: str) -> str:
    """With a capital to begin with and a full stop at the end."""
    stripped = words.strip()
    return stripped[:1].upper() + stripped[1:] + ("" if stripped.endswith((".", "?")) or not stripped else ".")


def severity_html(severity: str) -> str:
    """Shape and word of how pressing something is."""
    return _mark("severity", severity, SEVERITY_WORDS.get(severity, severity))


def grade_html(grade: str | None) -> str:
    """Shape and word of how far a cell was driven."""
    if grade is None:
        return '<span class="quiet">no grade</span>'
    return _mark("grade", grade, GRADE_WORDS.get(grade, grade))


def _mark(family: str, kind: str, word: str) -> str:
    return f'<span class="mark {family}-{escape(kind)}"><span class="shape" aria-hidden="true"></span>{escape(word)}</span>'
