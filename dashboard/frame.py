"""The frame around every page: head of the document, navigation, and what is seen until the page itself has arrived."""

from __future__ import annotations

import json
import re
from collections.abc import Container, Sequence
from html import escape
from typing import Any

import dash
from dash import ClientsideFunction, Dash, Input, Output, dcc, html
from dash.development.base_component import Component

from dashboard.components.aria import aria
from dashboard.undo import undo_bar

NAME = "Pack tracker"
CAUTION = "Estimates from what was written down. A pack that is swollen, hot, leaking or knocked is not to be used, whatever is said here."

MenuEntry = tuple[str, str]
"""Path and title."""

FORM_SCRIPT = "dash_mantine_components/"
"""In the address of the script that draws forms."""

_SCRIPT = re.compile(r"<script src=\"[^\"]*\"></script>")

_CONFIG = re.compile(r'(<script id="_dash-config" type="application/json">)(.*?)(</script>)', re.DOTALL)


def frame_layout(menu: Sequence[MenuEntry], apart: Container[str] = ()) -> Component:
    """Everything that stays while pages come and go; those apart are fetched as documents of their own."""
    links = [(html.A if path in apart else dcc.Link)(title, href=path, className="menu-link") for path, title in menu]
    return html.Div(
        [
            html.A("Skip to the page", href="#page", className="skip"),
            html.Header(
                [dcc.Link(NAME, href="/", className="brand"), html.Nav(links, className="menu", **aria(label="Pages"))],
                className="top",
            ),
            html.Div(id="notice", role="alert", className="notice"),
            undo_bar(),
            dcc.Location(id="go", refresh="callback-nav"),
            html.Main(dash.page_container, id="page", tabIndex=-1),
            html.Footer(
                [html.P([CAUTION, " ", dcc.Link("Safety", href="/safety"), "."]), html.P(dcc.Link("Units and dates", href="/units"))]
            ),
            html.Div(id="frame-arrived", hidden=True),
        ]
    )


def connect_frame(app: Dash) -> None:
    """When a page has arrived: mark its place in the navigation and move the reading point to its heading."""
    connect: Any = app.clientside_callback
    connect(
        ClientsideFunction(namespace="frame", function_name="arrived"),
        Output("frame-arrived", "title"),
        Input("_pages_content", "children"),
    )


def document(
    parts: dict[str, Any], *, menu: Sequence[MenuEntry], path: str, heading: str, charts_url: str | None, forms: bool,
    page: str = "", answers: Sequence[str] = (),
) -> str:  # fmt: skip
    """The whole HTML document, with frame and page already drawn: they are seen, read and followed before any script has run.

    The script that draws forms is as large as all the rest together, so it comes only to pages that have one.

    The chart library is not fetched ahead: measured, that made it run before the page's words were painted and doubled the time to them.
    """
    links = "".join(
        f'<a class="menu-link" href="{target}"{" aria-current=page" if _is_here(target, path) else ""}>{escape(title)}</a>'
        for target, title in menu
    )
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{escape(heading)} · {NAME}</title>
<link rel="icon" type="image/svg+xml" href="/assets/icon.svg">
{parts["css"]}
</head>
<body>
<div id="link-lost" role="status" hidden></div>
<div id="first-look">
<a class="skip" href="#first-page">Skip to the page</a>
<header class="top"><a class="brand" href="/">{NAME}</a><nav class="menu" aria-label="Pages">{links}</nav></header>
<main id="first-page" tabindex="-1">{page or f'<h1>{escape(heading)}</h1><p class="quiet">Reading the logbook…</p>'}
<noscript><p>This page needs JavaScript for its charts and forms. Without it, use the command line: pack-tracker packs.</p></noscript></main>
<footer><p>{CAUTION} <a href="/safety">Safety</a>.</p><p><a href="/units">Units and dates</a></p></footer>
</div>
<div id="react-entry-point"></div>
<div hidden>
{_with_charts_url(parts["config"], charts_url)}
{"".join(answers)}
{parts["scripts"] if forms else _without_forms(parts["scripts"])}
{parts["renderer"]}
</div>
</body>
</html>"""


def _is_here(target: str, path: str) -> bool:
    """Whether a path belongs to an entry of the navigation; `assets/frame.js` goes by the same rule."""
    return path == target if target == "/" else path.startswith(target)


def _without_forms(scripts: str) -> str:
    return _SCRIPT.sub(lambda match: "" if FORM_SCRIPT in match[0] else match[0], scripts)


def _with_charts_url(config: str, charts_url: str | None) -> str:
    """The page's settings with the chart script under an address that changes with its contents, so that it may be kept for good.

    The settings also name the versions of what runs here, which is nobody else's business.
    """

    def changed(match: re.Match[str]) -> str:
        settings = json.loads(match[2])
        if charts_url is not None:
            settings |= {"serve_locally": False, "plotlyjs_url": charts_url}
        settings |= {"python_version": "", "dash_version": "", "plotly_version": ""}
        return match[1] + json.dumps(settings).replace("<", "\\u003c") + match[3]

    return _CONFIG.sub(changed, config)
