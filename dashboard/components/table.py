"""Tables that stay tables for a screen reader and become cards, or scroll inside their own box, on a phone."""

from __future__ import annotations

import json
from collections.abc import Sequence

from dash.development.base_component import Component

from dashboard.components import elements as html
from dashboard.components.aria import aria, data
from dashboard.reading import reading

Cell = Component | str
BLANKS = ("none", "not recorded")
"""Cells a card leaves out: on a narrow screen nothing is worth a line that says nothing."""


def card_table(caption: str, columns: Sequence[str], rows: Sequence[Sequence[Cell]], *, chosen: int | None = None) -> Component:
    """A table whose rows become cards on a narrow screen; the first column heads each card."""
    # The roles are said because a browser forgets them once style sheets turn rows into blocks.
    head = html.Tr([html.Th(column, role="columnheader", scope="col") for column in columns], role="row")
    body = [
        html.Tr(
            [
                html.Th(row[0], role="rowheader", scope="row"),
                *(
                    html.Td(cell, role="cell", className="blank" if cell in BLANKS else "", **data(label=column))
                    for column, cell in zip(columns[1:], row[1:], strict=True)
                ),
            ],
            role="row",
            className="chosen" if index == chosen else "",
        )
        for index, row in enumerate(rows)
    ]
    return html.Table(
        [
            html.Caption(caption, className="unseen"),
            html.Thead(head, role="rowgroup"),
            html.Tbody(body, role="rowgroup"),
        ],
        role="table",
        className="cards",
    )


def change_link(address: str, what: str, words: str = "Change") -> Component:
    """In the last cell of a row: the way to the form that changes what the row shows."""
    return html.A(words, href=address, className="change-link", **aria(label=f"{words} {what}"))


def folded_table(label: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> Component:
    """A table of many numbers in a fold, scrolling inside its own box, by finger and by keyboard.

    It is carried as text and built by the page's own script when its fold is opened: as components, the numbers of a few charts
    made a page of a well-used pack answer in seconds.
    """
    numbers = json.dumps({"columns": list(columns), "rows": [list(row) for row in rows]}, ensure_ascii=False, separators=(",", ":"))
    return html.Div(className="scroll", tabIndex=0, role="region", **aria(label=label), **data(numbers=numbers, decimal=reading().marks[1]))
