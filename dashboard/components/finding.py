"""A finding as a card: how pressing, about what, what to do, and why."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from dash import dcc
from dash.development.base_component import Component

from dashboard.addresses import CONTROLLERS_PATH, pack_address
from dashboard.components import elements as html
from dashboard.components.marks import name_text, severity_mark
from dashboard.theme import counted, day, unbroken
from tracker.domain.results import Finding

ABOUT_CONTROLLERS = frozenset({"cutoff-under-floor", "no-cutoff"})
"""What a run brings up of a controller: it is put right where the controllers are."""


@dataclass(frozen=True, slots=True)
class Group:
    """The first of several findings that say the same of the same pack, and how many more there are."""

    finding: Finding
    more: int


def grouped(findings: Sequence[Finding]) -> list[Group]:
    """Findings in the order given, those of one rule, severity and subject folded into the newest of them."""
    kept: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in findings:
        kept.setdefault((finding.severity, finding.rule, finding.subject), []).append(finding)
    return [Group(_newest(alike), len(alike) - 1) for alike in kept.values()]


def finding_card(finding: Finding, *, packs: Collection[str] = (), more: int = 0, heading: Callable[..., Component] = html.H3) -> Component:
    """One finding; its subject leads to the pack's page when it is one of the packs named."""
    head: list[Component] = [heading([severity_mark(finding.severity), _subject(finding, packs)], className="finding-head")]
    if finding.at is not None:
        head.append(html.Span(day(finding.at), className="finding-day"))
    because: list[Component] = [html.P(unbroken(finding.why))]
    if finding.source:
        because.append(html.P(["Source: ", html.Cite(finding.source)], className="source"))
    said: list[Component | str] = [unbroken(finding.message)]
    if more:
        said.append(html.Span(f" And {counted(more, 'earlier one')} like it.", className="quiet"))
    parts: list[Component] = [html.Div(head, className="finding-top"), html.P(said, className="finding-message")]
    parts.append(html.Details([html.Summary("Why"), *because]))
    return html.Article(parts, className=f"finding finding-{finding.severity}")


def finding_list(
    groups: Sequence[Group], *, packs: Collection[str] = (), open_first: int = 5, heading: Callable[..., Component] = html.H3
) -> Component:
    """Cards of findings, the first few open to view and the rest folded away."""
    cards = [finding_card(group.finding, packs=packs, more=group.more, heading=heading) for group in groups]
    shown, folded = cards[:open_first], cards[open_first:]
    parts: list[Component] = [html.Div(shown, className="findings")]
    if folded:
        parts.append(
            html.Details(
                [html.Summary(f"{counted(len(folded), 'more finding')}"), html.Div(folded, className="findings")],
                className="folded",
            )
        )
    return html.Div(parts)


def _newest(alike: Sequence[Finding]) -> Finding:
    dated = [finding for finding in alike if finding.at is not None]
    return max(dated, key=lambda finding: finding.at.timestamp() if finding.at else 0.0) if dated else alike[0]


def _subject(finding: Finding, packs: Collection[str]) -> Component:
    if finding.subject in packs:
        return dcc.Link(name_text(finding.subject), href=pack_address(finding.subject), className="subject")
    if finding.rule in ABOUT_CONTROLLERS:
        return dcc.Link(name_text(finding.subject), href=CONTROLLERS_PATH, className="subject")
    return html.Span(name_text(finding.subject), className="subject")
