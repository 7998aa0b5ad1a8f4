"""Small marks: how pressing, how deep, how a pack stands. Each differs in word and shape, colour only helps."""

from __future__ import annotations

from dash.development.base_component import Component

from dashboard.components import elements as html
from dashboard.components.aria import aria

SEVERITY_WORDS = {"stop": "Stop", "caution": "Caution", "note": "Note"}
GRADE_WORDS = {"damaging": "damaging", "deep": "deep", "low": "into the reserve", "fine": "fine"}
STATE_WORDS = {
    "ready": "Ready",
    "charge": "Charge",
    "rest": "Let rest",
    "store": "Store",
    "retire": "Retire",
    "unknown": "Not known",
}


def severity_mark(severity: str) -> Component:
    """Shape and word of a finding's severity."""
    return _mark("severity", severity, SEVERITY_WORDS.get(severity, severity))


def grade_mark(grade: str | None) -> Component:
    """Shape and word of how far a cell was driven."""
    if grade is None:
        return html.Span("no grade", className="unknown")
    return _mark("grade", grade, GRADE_WORDS.get(grade, grade))


def state_mark(state: str) -> Component:
    """Word and outline of how a pack stands."""
    return html.Span(STATE_WORDS.get(state, state), className=f"state state-{state}")


def name_text(name: str) -> Component:
    """A name given by a person: shown as it is, and kept from changing the direction of the text around it."""
    return html.Bdi(name, className="name")


def _mark(family: str, kind: str, word: str) -> Component:
    shape = html.Span(className="shape", **aria(hidden="true"))
    return html.Span([shape, word], className=f"mark {family}-{kind}")
