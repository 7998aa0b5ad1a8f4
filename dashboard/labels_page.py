"""Labels: a sheet to print, cut and stick to the packs, with a code that opens Log for that pack.

Written by the server whole: it is paper, and needs nothing of what moves on the other pages.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from importlib.resources import files

from flask import Flask, Response, request

from dashboard.access import Access
from dashboard.addresses import LABELS_PATH
from dashboard.label_base import found_base, found_elsewhere, read_base, warning_about
from dashboard.label_sheet import SIZES, USUAL_SIZE, LabelSize, sheets
from dashboard.machine import own_addresses, own_names
from dashboard.needs import Services
from dashboard.plain_page import plain_page
from tracker.domain.label import PackLabel
from tracker.errors import InputError, TrackerError

TITLE = "Labels"
STYLE_PATH, SCRIPT_PATH = "/printing/labels.css", "/printing/labels.js"
HEAD = f'<link rel="stylesheet" href="{STYLE_PATH}">\n<script src="{SCRIPT_PATH}" defer></script>'


def offer_labels(server: Flask, services: Services, access: Access, menu: Sequence[tuple[str, str]]) -> None:
    """Add the page, its style and its script."""

    def page() -> Response:
        try:
            body = _body(services.packs.labels(), access)
        except TrackerError as error:
            body = f'<div class="trouble" role="alert"><p>{escape(str(error))}</p></div>'
        return plain_page(TITLE, body, menu=menu, head=HEAD)

    server.add_url_rule(LABELS_PATH, "labels", page)
    for path, kind in ((STYLE_PATH, "text/css"), (SCRIPT_PATH, "text/javascript")):
        server.add_url_rule(path, path, _sending(path, kind))


def _body(every: Sequence[PackLabel], access: Access) -> str:
    """The page for what stands in the address."""
    addresses, names = own_addresses(), own_names()
    elsewhere = found_elsewhere(addresses, names, home_only=access.authority is not None)
    base, problem = found_base(request.scheme, request.host, elsewhere), ""
    typed = request.args.get("base", "").strip()
    if typed:
        try:
            base = read_base(typed)
        except InputError as error:
            problem = str(error)
    own = {*(str(one) for one in addresses), *names}
    warning = "" if problem else warning_about(base, reachable=access.beyond_this_machine, own=own)
    size = SIZES.get(request.args.get("size", ""), SIZES[USUAL_SIZE])
    return labels_body(every, request.args.getlist("pack"), size, base=base, typed=typed, problem=problem, warning=warning)


def labels_body(
    every: Sequence[PackLabel], wanted: Sequence[str], size: LabelSize, *, base: str, typed: str = "", problem: str = "", warning: str = ""
) -> str:
    """What to choose, and the sheets: of the packs wanted, or of all in use."""
    if not every:
        return '<div class="empty"><h2>No packs yet</h2><p>Labels are made of the packs in the logbook. Bring one in first.</p></div>'
    names = {one.pack.name for one in every}
    unknown = [name for name in dict.fromkeys(wanted) if name not in names]
    chosen = [one for one in every if (one.pack.name in wanted if wanted else one.pack.retired_on is None)]
    told = "".join(f'<p class="notice-line">No pack is named <bdi>{escape(name)}</bdi>.</p>' for name in unknown)
    told += f'<p class="notice-line" id="base-warning"><strong>Before printing:</strong> {escape(warning)}</p>' if warning else ""
    nothing = '<p class="quiet">No pack is chosen, so there is nothing to print.</p>'
    # What a phone cannot open is not printed: a label lasts longer than the mistake is remembered.
    printed = "" if problem else sheets(chosen, size, base) or nothing
    return (
        '<div class="label-asking"><p class="reading">A label for each pack, to print, cut and stick on. '
        "The code on it opens Log on the phone with that pack chosen. The voltages are those usual for one cell of the chemistry: full, "
        "for storage, and the floor it shall not go below under load. What the pack’s maker says comes first.</p>"
        f"{_form(every, {one.pack.name for one in chosen}, size, typed if problem else base, problem)}{told}"
        '<p id="print-how">Print with the browser’s own command, on A4, at 100 % and not fitted to the page. '
        "Check one code with the phone before sticking all.</p></div>\n"
        f'<div class="label-sheets">{printed}</div>'
    )


def _form(every: Sequence[PackLabel], chosen: set[str], size: LabelSize, base: str, problem: str) -> str:
    used = [one.pack.name for one in every if one.pack.retired_on is None]
    retired = [one.pack.name for one in every if one.pack.retired_on is not None]
    older = f"<details><summary>Retired packs</summary>{_boxes(retired, chosen)}</details>" if retired else ""
    sizes = "".join(
        f'<label class="tick"><input type="radio" name="size" value="{one.key}"{" checked" if one is size else ""}> {escape(one.words)}</label>'
        for one in SIZES.values()
    )
    wrong = f'<p class="problem" id="base-problem">{escape(problem)}</p>' if problem else ""
    marked = 'aria-invalid="true" aria-describedby="base-problem base-hint"' if problem else 'aria-describedby="base-hint"'
    return f"""<form method="get" action="{LABELS_PATH}" class="ask label-form">
<fieldset><legend>Packs</legend>{_boxes(used, chosen)}{older}</fieldset>
<fieldset><legend>Size of a label</legend>{sizes}</fieldset>
<div class="field"><label for="base">Address the phone opens</label>
<input id="base" name="base" type="text" inputmode="url" autocomplete="off" autocapitalize="none" spellcheck="false" value="{escape(base)}" {marked}>
{wrong}<p class="hint" id="base-hint">Where the dashboard is found from the phone, without a page behind it. It was taken from how you came here,
or from this machine’s place in its network. An address beginning with 127 or localhost would be of no use on a label.</p></div>
<div class="ask-foot"><button type="submit">Show these labels</button> <button type="button" id="print" hidden>Print</button></div>
</form>"""


def _boxes(names: Sequence[str], chosen: set[str]) -> str:
    boxes = "".join(
        f'<label class="tick"><input type="checkbox" name="pack" value="{escape(name)}"{" checked" if name in chosen else ""}> '
        f"<bdi>{escape(name)}</bdi></label>"
        for name in names
    )
    return f'<div class="ticks">{boxes}</div>' if boxes else '<p class="quiet">None in use.</p>'


def _sending(path: str, kind: str) -> Callable[[], Response]:
    def send() -> Response:
        answer = Response((files("dashboard") / path.lstrip("/")).read_bytes(), mimetype=kind)
        answer.headers["Cache-Control"] = "no-cache"
        answer.add_etag()
        answer.make_conditional(request)
        return answer

    return send
