"""The page Log as a document: made whole on the server, so that it can be used before, and without, its script."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html import escape

from dashboard.addresses import LOG_PATH as PATH
from dashboard.addresses import change_address
from dashboard.frame import CAUTION, NAME, MenuEntry
from dashboard.reading import reading
from dashboard.trackside.answer import BELIEVED, CHARGE_WAITING, WAITING
from dashboard.trackside.boxes import Box, field_html
from dashboard.trackside.fields import DEGREES, FORMS, READINGS, Field, Form, Kind, form_of
from dashboard.trackside.markup import attributes, name_html, sentence
from tracker.domain.pack import Pack

TITLE = "Log"


@dataclass(frozen=True, kw_only=True, slots=True)
class View:
    """What the page shows of one visit."""

    kind: Kind
    packs: Sequence[Pack]
    vehicles: Sequence[str]
    texts: Mapping[str, str]
    """What stands in the fields."""
    entry_ids: Mapping[Kind, str]
    """Under which the entry of each form will be saved, so that sending it twice saves it once."""
    problems: Mapping[str, str] = field(default_factory=dict)
    notice: str = ""
    """HTML above the form: what was saved, or what could not be done."""
    saved: bool = False


def document(view: View, *, menu: Sequence[MenuEntry], files: Mapping[str, str]) -> str:
    """The whole document; `files` gives the address of each of its own files."""
    scripts = "".join(f'<script src="{files[name]}" defer></script>' for name in ("store.js", "queue.js", "form.js", "log.js"))
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{escape(form_of(view.kind).title)} · {NAME}</title>
<link rel="icon" type="image/svg+xml" href="/assets/icon.svg">
<link rel="stylesheet" href="{files["log.css"]}">
<link rel="manifest" href="/log/app.webmanifest" crossorigin="use-credentials">
{scripts}
</head>
<body>
<a href="#page" class="skip">Skip to the page</a>
<header class="top"><a class="brand" href="/">{NAME}</a><p id="link" role="status"></p>{_menu(menu)}</header>
<main id="page" tabindex="-1">
{_body(view)}
</main>
<footer><p>{CAUTION} <a href="/safety">Safety</a>.</p><p><a href="/units">Units and dates</a></p></footer>
</body>
</html>"""


def _menu(menu: Sequence[MenuEntry]) -> str:
    """The links to the other pages; on a narrow screen they are folded away, for the form should be in sight at once."""
    links = "".join(
        f'<a class="menu-link" href="{path}"{" aria-current=page" if path == PATH else ""}>{escape(title)}</a>' for path, title in menu
    )
    nav = f'<nav class="menu" aria-label="Pages">{links}</nav>'
    return f'<details class="narrow"><summary>Menu</summary>{nav}</details><div class="broad">{nav}</div>'


def _body(view: View) -> str:
    if not view.packs:
        return f"<h1>{TITLE}</h1>{_first_steps()}"
    forms = "".join(_form(form, view) for form in FORMS.values())
    return f"""<h1 id="heading">{escape(form_of(view.kind).title)}</h1>
<div id="notice" tabindex="-1">{view.notice}</div>
<div id="work"{attributes(hidden=view.saved)}>
<nav class="tabs" aria-label="What to log">{_tabs(view)}</nav>
{forms}
</div>
<section id="waiting" aria-labelledby="waiting-head" hidden>
<h2 id="waiting-head" tabindex="-1">On this phone, not handed over yet</h2>
<p id="sign-in" hidden><a class="button" href="/sign-in?next=/log">Sign in to hand them over</a></p>
<ul id="entries"></ul>
</section>
<section id="away" aria-labelledby="away-head">
<h2 id="away-head">Without a connection</h2>
<noscript><p>This page needs JavaScript to keep entries while the program cannot be reached. With a connection it works without.</p></noscript>
<p id="away-words"></p>
</section>"""


def _first_steps() -> str:
    add = escape(change_address("pack"))
    return f"""<section class="empty">
<h2>First describe a pack</h2>
<p>Here a run or a charge is written down in a few taps, beside the track. It needs a pack to belong to, and there is none yet.</p>
<p><a class="button main" href="{add}">Add a pack</a></p>
<p>Or bring in a logbook: <code>pack-tracker import my-logbook/</code></p>
<p>Or look around in an invented club's: <code>pack-tracker demo</code></p>
</section>"""


def _tabs(view: View) -> str:
    return "".join(
        f"<a{attributes(href=f'{PATH}?what={form.kind}', data_kind=form.kind, aria_current='true' if form.kind == view.kind else None)}>"
        f"{form.tab}</a>"
        for form in FORMS.values()
    )


def _form(form: Form, view: View) -> str:
    """The form of a run or of a charge; the one not asked for is there but hidden, so that both are at hand without a connection."""
    shown = form.kind == view.kind
    texts = view.texts if shown else {name: view.texts.get(name, "") for name in ("pack", "vehicle", READINGS)}
    problems = view.problems if shown else {}

    def drawn(fields: Sequence[Field]) -> str:
        return "".join(
            field_html(
                Box(
                    field=each,
                    prefix=form.kind,
                    texts=texts,
                    fault=problems.get(each.name, ""),
                    packs=view.packs,
                    vehicles=view.vehicles,
                )
            )
            for each in fields
        )

    open_fold = any(each.name in problems for each in form.more)
    named = {each.name for each in form.fields}
    stray = "".join(f"<p>{escape(sentence(words))}</p>" for name, words in problems.items() if name not in named)
    waiting = WAITING if form.kind == "run" else CHARGE_WAITING
    return f"""<form id="{form.kind}" class="log" method="post" action="{PATH}"{attributes(hidden=not shown)} data-title="{escape(form.title)}">
<input type="hidden" name="kind" value="{form.kind}"><input type="hidden" name="{DEGREES}" value="{reading().degrees}"><input type="hidden" name="entry_id"{attributes(value=view.entry_ids[form.kind])}>
<div class="first">{drawn(form.first)}</div>
<details class="more"{attributes(open=open_fold)}><summary>More readings</summary><div class="rest">{drawn(form.more)}</div></details>
<div class="stray" role="alert">{stray}</div>
<button type="submit" class="main save">Save</button>
<div class="answer" role="status" aria-label="What it shows"><p class="quiet">{waiting}</p></div>
<p class="quiet small">{BELIEVED}</p>
</form>"""


def unknown_pack(name: str) -> str:
    """That an address names a pack that is not there; HTML."""
    return f'<div class="trouble" role="alert"><p>No pack in use is named {name_html(name)}. Choose one below.</p></div>'
