"""How each piece of evidence voted on what a run took out: a dot with its interval on one common scale."""

from __future__ import annotations

import math
from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.components.aria import aria
from dashboard.components.quantity import quantity_text
from dashboard.theme import EVIDENCE_WORDS, interval, mah, percent, unbroken
from tracker.domain.results import Estimate, EvidenceVote, Quantity


def evidence_list(used_ah: Quantity, votes: Sequence[EvidenceVote]) -> Component:
    """The answer, and under it what each piece of evidence says by itself."""
    if not votes:
        return html.P("Nothing was written down from which the charge used could be told.", className="quiet")
    low, high = scale_of([used_ah, *(vote.used_ah for vote in votes)])
    rows = [_vote(vote, low, high) for vote in votes]
    answer = html.Li(
        [
            html.Div([html.Strong("Together"), html.Span(quantity_text(used_ah, "charge"), className="number")], className="vote-head"),
            interval_strip(used_ah, low, high),
        ],
        className="vote vote-answer",
    )
    ends = html.P([html.Span(mah(low)), html.Span(mah(high))], className="strip-ends", **aria(hidden="true"))
    return html.Div([html.Ul([answer, *rows], className="votes"), ends])


def scale_of(quantities: Sequence[Quantity]) -> tuple[float, float]:
    """The ends of a scale that holds every interval, from nothing when that is near."""
    known = [quantity for quantity in quantities if isinstance(quantity, Estimate)]
    if not known:
        return 0.0, 1.0
    low, high = min(one.low for one in known), max(one.high for one in known)
    room = 0.08 * max(high - low, 0.02 * abs(high), 1e-6)
    low, high = low - room, high + room
    # Ends are round numbers; a scale that nearly reaches nothing starts there.
    step = 10.0 ** math.floor(math.log10(high - low))
    return (0.0 if low < 0.3 * high else math.floor(low / step) * step), math.ceil(high / step) * step


def interval_strip(quantity: Quantity, low: float, high: float) -> Component:
    """One dot with its whiskers; nothing but the track when there is no estimate."""
    marks: list[Component] = []
    if isinstance(quantity, Estimate):
        left, dot, right = (100 * min(max((part - low) / (high - low), 0.0), 1.0) for part in (quantity.low, quantity.value, quantity.high))
        marks = [
            html.Span(className="strip-arm", style={"left": f"{left:.1f}%", "width": f"{max(right - left, 0.5):.1f}%"}),
            html.Span(className="strip-dot", style={"left": f"{dot:.1f}%"}),
        ]
    return html.Div(marks, className="strip", **aria(hidden="true"))


def _vote(vote: EvidenceVote, low: float, high: float) -> Component:
    says = interval(vote.used_ah, "charge") if isinstance(vote.used_ah, Estimate) else quantity_text(vote.used_ah, "charge")
    weight = f"counted {percent(vote.weight)}" if vote.weight > 0 else "not counted"
    head = [
        html.Strong(EVIDENCE_WORDS.get(vote.kind, vote.kind)),
        html.Span(says, className="number"),
        html.Span(weight, className="quiet"),
    ]
    parts: list[Component] = [html.Div(head, className="vote-head")]
    if isinstance(vote.used_ah, Estimate):
        parts.append(interval_strip(vote.used_ah, low, high))
    if vote.disagrees:
        parts.append(html.P([html.Strong("Disagrees with the rest. "), unbroken(vote.words)], className="vote-odd"))
    elif vote.words:
        parts.append(html.P(unbroken(vote.words), className="quiet"))
    return html.Li(parts, className="vote vote-disagrees" if vote.disagrees else "vote")
