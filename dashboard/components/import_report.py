"""What files would bring, what they brought, or why they were refused."""

from __future__ import annotations

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.components.table import card_table
from dashboard.theme import clock, counted, number
from tracker.domain.exchange import RowDifference
from tracker.domain.results import ImportReport
from tracker.errors import BadRow

KIND_WORDS = {
    "packs": ("pack", "packs"),
    "vehicles": ("model", "models"),
    "controllers": ("controller", "controllers"),
    "runs": ("run", "runs"),
    "charges": ("charge", "charges"),
    "bench": ("bench test", "bench tests"),
    "recordings": ("recording", "recordings"),
}
MOST_FIELDS, MOST_WARNINGS, LONGEST_TEXT = 120, 30, 160


def numbers_table(report: ImportReport) -> Component:
    """One row a kind of record."""
    kinds = [kind for kind in report.added if report.added[kind] or report.updated.get(kind) or report.unchanged.get(kind)]
    rows = [
        [
            KIND_WORDS.get(kind, (kind, kind))[1].capitalize(),
            number(report.added[kind]),
            number(report.updated.get(kind, 0)),
            number(report.unchanged.get(kind, 0)),
        ]
        for kind in kinds
    ]
    titles = ("New", "Changed", "As stored already") if report.dry_run else ("Added", "Replaced", "As stored already")
    return card_table("Records by kind", ["Kind", *titles], rows)


def total(counts: dict[str, int]) -> int:
    """All kinds together."""
    return sum(counts.values())


def totals_sentence(report: ImportReport) -> str:
    """The same in a line."""
    new, changed, same = total(report.added), total(report.updated), total(report.unchanged)
    if not (new or changed or same):
        return "The files hold no records."
    if not (new or changed):
        return f"Nothing new: {'the one record' if same == 1 else f'all {number(same)} records'} in the files {'is' if same == 1 else 'are'} stored already."
    would = "would be " if report.dry_run else ""
    parts = [f"{counted(new, 'record')} {would}added"] if new else []
    parts += [f"{counted(changed, 'stored record')} {would}replaced"] if changed else []
    parts += [f"{number(same)} {'is' if same == 1 else 'are'} as stored"] if same else []
    return f"{', '.join(parts)}."


def differences(rows: Sequence[RowDifference], there_are: int) -> Component:
    """The rows that differ from what is stored, field by field."""
    fields = [(row, field) for row in rows for field in row.fields]
    shown = fields[:MOST_FIELDS]
    table = card_table(
        "Fields that would change",
        ["Record", "Field", "Stored now", "In the file", "Where"],
        [
            [record_words(row), html.Code(field.column), _text(field.stored), _text(field.given), _place(row.file, row.line)]
            for row, field in shown
        ],
    )
    told = len({id(row) for row, _ in shown})
    rest = [html.P(f"Those of {counted(told, 'record')} of {number(there_are)}; the rest change as well.", className="quiet")]
    return html.Section([html.H3("What would change"), table, *(rest if told < there_are else [])])


def refusals(rows: Sequence[BadRow], more: int) -> Component:
    """Every bad row with its place."""
    table = card_table(
        "Rows that were refused",
        ["File", "Line", "Column", "What is wrong, and what is allowed"],
        [[html.Bdi(row.file), number(row.line), html.Code(row.column), html.Bdi(row.message)] for row in rows],
    )
    rest = [html.P(f"And {number(more)} more like these.", className="quiet")]
    return html.Div([table, *(rest if more else [])])


def warning_list(warnings: Sequence[str]) -> Component:
    """What is odd, though not refused."""
    items = [html.Li(html.Bdi(words)) for words in warnings[:MOST_WARNINGS]]
    if len(warnings) > MOST_WARNINGS:
        items.append(html.Li(f"And {number(len(warnings) - MOST_WARNINGS)} more."))
    return html.Section([html.H3("Worth knowing"), html.Ul(items, className="heed")])


def record_words(row: RowDifference) -> Component:
    """Which record it is: Run of Tug 1, Sat 5 Apr 2025, 13:00."""
    one = KIND_WORDS.get(row.kind, (row.kind, row.kind))[0]
    if row.at is None:
        return html.Span([f"{one.capitalize()} ", html.Bdi(row.name, className="name")])
    return html.Span([f"{one.capitalize()} of ", html.Bdi(row.name, className="name"), f", {clock(row.at)}"])


def _text(words: str) -> Component:
    if not words:
        return html.Span("nothing", className="unknown")
    return html.Bdi(words if len(words) <= LONGEST_TEXT else f"{words[:LONGEST_TEXT]}…")


def _place(file: str, line: int) -> Component:
    return html.Span([html.Bdi(file), f", line {number(line)}"])
