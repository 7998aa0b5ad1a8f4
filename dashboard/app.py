"""The dashboard: frame, pages and doors around one set of services."""

from __future__ import annotations

import logging
import secrets
from collections.abc import Callable, Mapping
from functools import cached_property, partial
from types import ModuleType
from typing import Any
from urllib.parse import parse_qs, parse_qsl, quote

import dash
from dash import Dash, ctx, set_props
from dash.development.base_component import Component
from dash.exceptions import DependencyException
from flask import Flask, Response, request
from werkzeug.exceptions import HTTPException

from dashboard.access import PLAIN_PATHS, Access, guard, protect
from dashboard.addresses import LOG_PATH, PACK_PATH, SHIELD, name_in
from dashboard.at_once import FirstPage, data_block, first_page, ready
from dashboard.certificate_page import hand_out
from dashboard.components.empty import trouble
from dashboard.delivery import chart_address, deliver
from dashboard.exchange.doors import open_doors
from dashboard.frame import NAME, MenuEntry, connect_frame, document, frame_layout
from dashboard.labels_page import offer_labels
from dashboard.needs import Services
from dashboard.pages import PAGES, change, missing, pack, units
from dashboard.sign_in import require_sign_in
from dashboard.trackside import doors
from dashboard.trackside.page import TITLE as LOG_TITLE
from dashboard.undo import connect_undo
from tracker.errors import StoreError, TrackerError

LOG = logging.getLogger("dashboard")
REGISTER_PAGE: Any = dash.register_page
MOST_BYTES = 16 * 1024 * 1024
_OF_DASH: tuple[MenuEntry, ...] = tuple((page.PATH, page.TITLE) for page in PAGES if page.MENU)
MENU: tuple[MenuEntry, ...] = (_OF_DASH[0], (LOG_PATH, LOG_TITLE), *_OF_DASH[1:])
"""Every page a person may go to from anywhere. Log is none of Dash's."""
TITLES: dict[str, str] = {page.PATH: page.TITLE for page in PAGES if page is not pack} | {LOG_PATH: LOG_TITLE}
WITH_FORMS = frozenset(page.PATH for page in PAGES if getattr(page, "FORMS", False))
"""Fetched as documents of their own, for only these bring the script that draws forms. Links to them are plain ones."""
WENT_WRONG = "Something went wrong and nothing was changed."


DASH_RULES = frozenset({"/", "/<path:path>"})
"""Where Dash answers with its frame, whatever the address; pages written by the server have rules of their own."""


def create_app(services: Services, access: Access | None = None) -> Dash:
    """A dashboard on these services, open to this machine unless told otherwise."""
    access = access or Access()
    server = _server(services, access)
    dash.page_registry.clear()
    # Dash's own hints leave out that a server may be handed over and the changing of the title switched off.
    untold: dict[str, Any] = {"server": server, "update_title": None}
    app = _Dashboard(
        "dashboard",
        title=NAME,
        use_pages=True,
        pages_folder="",
        assets_folder="assets",
        include_pages_meta=False,
        suppress_callback_exceptions=True,
        enable_mcp=False,
        on_error=_on_callback_error,
        **untold,
    )
    app.services = services
    for page in PAGES:
        _register(page, services)
        page.connect(app, services)
    REGISTER_PAGE("dashboard.pages.not_found_404", path="/404", title=f"{missing.TITLE} · {NAME}", layout=missing.layout)
    app.layout = frame_layout(MENU, WITH_FORMS | {LOG_PATH})
    connect_frame(app)
    connect_undo(app, services)
    protect(server, app.csp_hashes)
    return app


class _Dashboard(Dash):
    """Dash, with a document of our own that holds the page already."""

    services: Services

    def interpolate_index(self, *_: Any, **parts: Any) -> str:
        path: str = request.path
        heading = heading_for(path, request.args.to_dict())
        page = _first_page(self.services, path, f"{heading} · {NAME}")
        answers = [data_block("first-layout", self._always[0]), data_block("first-dependencies", self._always[1])]
        return document(
            parts,
            menu=MENU,
            path=path,
            heading=heading,
            charts_url=chart_address(),
            forms=path in WITH_FORMS,
            page=page.html if page else "",
            answers=[*answers, data_block("first-answer", page.answer)] if page else answers,
        )

    @cached_property
    def _always(self) -> tuple[str, str]:
        """Frame and list of callbacks: the same for every document, and complete once the first is asked for."""
        frame: Any = self  # Dash's own hints leave these two out
        return frame.serve_layout().get_data(as_text=True), frame.dependencies().get_data(as_text=True)


def heading_for(path: str, query: Mapping[str, str]) -> str:
    """The heading a page will have, known from its address alone."""
    if path == change.PATH:
        return change.heading(query)
    if path.startswith(f"{PACK_PATH}/"):
        # The web server has taken the percent signs out already.
        return path.removeprefix(f"{PACK_PATH}/").removeprefix(SHIELD)
    return TITLES.get(path, missing.TITLE)


def _first_page(services: Services, path: str, title: str) -> FirstPage | None:
    """The page at this path, as its callback would answer; nothing where that cannot be told from the path alone."""
    query: dict[str, Any] = parse_qs(request.query_string.decode(errors="replace"), keep_blank_values=True)
    if path.startswith(f"{PACK_PATH}/"):
        segment = path.removeprefix(f"{PACK_PATH}/")
        if not segment or "/" in segment:  # one in a name, or one that parts the path? The browser knows
            return None
        return first_page(_layout(pack.layout, services, **{"segment": quote(segment, safe=""), **query}), title)
    page = next((each for each in PAGES if path == each.PATH), None)
    return None if page is None else first_page(_layout(page.layout, services, **query), title)


def is_page(path: str) -> bool:
    """Whether there is a page at this path."""
    return path in TITLES or (path.startswith(f"{PACK_PATH}/") and len(path) > len(PACK_PATH) + 1)


def _server(services: Services, access: Access) -> Flask:
    """The web server under the dashboard, with its doors."""
    server = Flask("dashboard", static_folder=None)
    server.config["MAX_CONTENT_LENGTH"] = MOST_BYTES
    # A pack's name may hold slashes, several in a row.
    server.url_map.merge_slashes = False
    guard(server, access)
    if access.password:
        require_sign_in(server, access.password, https=access.https, also_open=PLAIN_PATHS if access.authority else frozenset())
    if access.authority is not None:
        hand_out(server, access.authority)
    offer_labels(server, services, access, MENU)
    deliver(server)
    open_doors(server, services)
    doors.connect(server, services, MENU)
    units.keep_units(server)
    server.add_url_rule("/healthz", "health", partial(_health, services))
    server.register_error_handler(DependencyException, lambda _error: Response("Not found.", 404, mimetype="text/plain"))
    server.register_error_handler(Exception, _on_server_error)
    server.after_request(_say_not_found)
    return server


def _register(page: ModuleType, services: Services) -> None:
    title: str | Callable[..., str] = f"{page.TITLE} · {NAME}"
    where = {"path": page.PATH}
    if page is pack:
        where = {"path": f"{PACK_PATH}/<segment>", "path_template": page.PATH}
        title = _pack_title
    elif page is change:
        title = _change_title
    REGISTER_PAGE(page.__name__, title=title, layout=partial(_shown, page.layout, services), **where)


def _pack_title(segment: str = "", **_: str) -> str:
    return f"{name_in(segment)} · {NAME}"


def _change_title(**_: str) -> str:
    """The heading of the form: from the address, or from what a page already open asks for."""
    asked = request.query_string.decode() if request.method == "GET" else str(ctx.inputs.get("_pages_location.search") or "")
    return f"{change.heading(dict(parse_qsl(asked.removeprefix('?'))))} · {NAME}"


def _shown(layout: Callable[..., Component], services: Services, /, **query: str | list[str]) -> Any:
    """A page, ready for Dash to hand on."""
    return ready(_layout(layout, services, **query))


def _layout(layout: Callable[..., Component], services: Services, /, **query: str | list[str]) -> Component:
    """A page's layout, or a plain message when it cannot be made."""
    try:
        return layout(services, **{key: value[-1] if isinstance(value, list) else value for key, value in query.items()})
    except TrackerError as error:
        return trouble(str(error))
    except Exception as error:  # noqa: BLE001  the outermost place: whatever it is, the person gets words and the log the rest
        return trouble(WENT_WRONG, reference=_logged(error))


def _on_callback_error(error: Exception) -> None:
    """Say what a callback could not do."""
    set_props("notice", {"children": str(error) if isinstance(error, TrackerError) else f"{WENT_WRONG} Reference {_logged(error)}."})


def _on_server_error(error: Exception) -> Response | HTTPException:
    """A plain answer in place of an error page."""
    if isinstance(error, HTTPException):
        return error
    if isinstance(error, TrackerError):
        return Response(str(error), 503 if isinstance(error, StoreError) else 400, mimetype="text/plain")
    return Response(f"{WENT_WRONG} Reference {_logged(error)}.", 500, mimetype="text/plain")


def _logged(error: Exception) -> str:
    """Put an unforeseen error into the log under a reference, which alone is shown."""
    reference = secrets.token_hex(3)
    LOG.error("reference %s", reference, exc_info=error)
    return reference


def _health(services: Services) -> Response:
    """Whether the dashboard can answer, its database included."""
    try:
        services.packs.all()
    except TrackerError as error:
        return Response(f"{error}\n", 503, mimetype="text/plain")
    return Response("ok\n", mimetype="text/plain")


def _say_not_found(response: Response) -> Response:
    """Dash draws its frame at every address; where no page is, the status says so too."""
    by_dash = request.url_rule is not None and request.url_rule.rule in DASH_RULES
    if by_dash and response.mimetype == "text/html" and response.status_code == 200 and not is_page(request.path):
        response.status_code = 404
    return response
