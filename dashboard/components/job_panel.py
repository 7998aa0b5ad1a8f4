"""How far long work is; the page's own script asks anew and loads the page again when it has ended."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.components.aria import aria, data

LEAVE = "You can leave this page and come back: the work goes on as long as the program runs. If the program is stopped, what was not finished is not stored."


def job_panel(title: str, address: str) -> Component:
    """What is being done and a bar; `address` answers how far it is."""
    return html.Section(
        [
            html.H2(title),
            html.P("Begun…", className="job-words"),
            html.Progress(max="1", **aria(label=title)),
            html.P(LEAVE, className="quiet"),
            html.P("", className="problem", role="alert"),
        ],
        className="ask job",
        **data(job=address),
    )
