"""Writing down and changing through the services: what a form opens with, and what becomes of it when it is sent."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Any
from uuid import uuid4

from dashboard.addresses import CONTROLLERS_PATH, PACK_PATH, change_address, pack_address
from dashboard.bench_lines import lines_of, texts_of_lines
from dashboard.components.change_fields import FORMS, MEANINGS
from dashboard.components.change_form import Value
from dashboard.components.change_words import plain
from dashboard.needs import Services
from dashboard.theme import celsius_of, shown_degrees
from tracker.domain.changes import Change, Key, Kind, Record
from tracker.domain.controller import Vehicle
from tracker.domain.session import BenchTest, Charge, Run
from tracker.errors import FieldErrors, NotFoundError, TrackerError
from tracker.services.entries import names_text, record_from, texts_from

WARMTH = "pack_c"
NUMBERS: Mapping[Kind, tuple[str, ...]] = {
    kind: tuple(one.column for one in form.fields() if one.entry == "number") + (("supply_v",) if kind == "bench" else ())
    for kind, form in FORMS.items()
}
MAYBE_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
TIMES = ("started_at", "finished_at", "tested_at")
MEANWHILE = "It was changed elsewhere after this form was opened, and that is not to be lost. What you typed is still here."
GONE = "It is not in the logbook; it may have been renamed or deleted meanwhile. Look where it was listed to see what is there now."
CHOOSE, MARKED = "Choose one from the list.", "Put right what is marked below."


@dataclass(frozen=True, kw_only=True, slots=True)
class Outcome:
    """What became of a form that was sent."""

    change: Change | None = None
    address: str = ""
    """Where to go on: to what was changed, or, where it was changed elsewhere meanwhile, to how it stands now."""
    back: str = ""
    """Where it is seen once the change is taken back."""
    words: str = ""
    problems: Mapping[str, str] = field(default_factory=dict)


def found(services: Services, kind: Kind, key: Key) -> Record:
    """The record of that key; NotFoundError when it is not stored."""
    if kind == "run" and not isinstance(key, str):
        return services.runs.one(*key).run
    if kind == "charge" and not isinstance(key, str):
        return services.charges.one(*key)
    record: Record | None
    if isinstance(key, str):
        shelves: dict[Kind, Callable[[], Any]] = {
            "pack": partial(services.packs.all, include_retired=True),
            "vehicle": services.controllers.vehicles,
            "controller": services.controllers.all,
        }
        record = next((each for each in shelves[kind]() if each.name == key), None)
    else:
        record = next((test for test in services.controllers.tests(key[0]) if test.tested_at == key[1]), None)
    if record is None:
        raise NotFoundError(GONE)
    return record


def opened_with(kind: Kind, key: Key | None, record: Record | None, given: Mapping[str, str]) -> dict[str, Any]:
    """What a form is opened with: what is stored, how it is shown, and the ids under which it is saved and deleted once."""
    texts = texts_from(record) if record is not None else dict(given)
    return {
        "key": key if key is None or isinstance(key, str) else [key[0], key[1].isoformat()],
        "texts": texts,
        "shown": shown_values(texts, record),
        "change": uuid4().hex,
        "remove": uuid4().hex,
    }


def shown_values(texts: Mapping[str, str], record: Record | None = None) -> dict[str, Value]:
    """The texts as the fields of a form hold them."""
    values: dict[str, Value] = {column: shown_time(text) if column in TIMES else text for column, text in texts.items()}
    if texts.get(WARMTH):
        values[WARMTH] = shown_degrees(texts[WARMTH])
    if isinstance(record, Vehicle):
        values["controllers"] = list(record.controllers)
    if isinstance(record, BenchTest):
        values["readings"] = lines_of(texts)
    return values


def shown_time(text: str) -> str:
    """A time as a field for times can hold it: local, to the second."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return text
    return moment.astimezone().replace(tzinfo=None).isoformat(timespec="seconds")


def key_of(opened: Mapping[str, Any]) -> Key | None:
    """The key a form was opened with."""
    key = opened["key"]
    return key if key is None or isinstance(key, str) else (key[0], datetime.fromisoformat(key[1]))


def texts_sent(kind: Kind, values: Mapping[str, Any], opened: Mapping[str, Any]) -> dict[str, str]:
    """The texts by column as they are to be read: what was not touched goes back to the letter as it came."""
    typed: dict[str, str] = {}
    for column, value in values.items():
        if value == opened["shown"].get(column, [] if isinstance(value, list) else ""):
            continue
        text = names_text(value) if isinstance(value, list) else str(value or "")
        if column == "readings":
            typed |= texts_of_lines(text)
        else:
            typed[column] = celsius_of(text) if column == WARMTH else text
    kept = {column: text for column, text in opened["texts"].items() if column not in typed}
    if kind == "bench":
        kept = {"supply_v": "", "motor": ""} | kept
    return _in_commas(kind, kept) | typed if with_commas(kind, typed) else kept | typed


def with_commas(kind: Kind, typed: Mapping[str, str]) -> bool:
    """Whether what was typed has decimal commas without doubt: 1,234 mAh may mean thousands."""
    items = [(column, item) for column in NUMBERS[kind] for item in typed.get(column, "").split()]
    sure = any("," in item and not (column.endswith("_mah") and MAYBE_THOUSANDS.fullmatch(item)) for column, item in items)
    return sure and not any("." in item for _, item in items)


def _in_commas(kind: Kind, texts: Mapping[str, str]) -> dict[str, str]:
    """Numbers kept from before, in the mark of those that were typed: in one record all are read alike."""
    return {column: text.replace(".", ",") if column in NUMBERS[kind] else text for column, text in texts.items()}


def saved(services: Services, kind: Kind, values: Mapping[str, Any], opened: Mapping[str, Any]) -> Outcome:
    """Store what a form holds, once, unless it was changed elsewhere meanwhile."""
    key = key_of(opened)
    try:
        texts = texts_sent(kind, values, opened)
        record = record_from(kind, texts)
        # Sent twice, it is stored already: then what is stored differs from what was opened, and rightly so.
        if key is not None and services.edits.done(opened["change"]) is None and texts_from(found(services, kind, key)) != opened["texts"]:
            return Outcome(words=MEANWHILE, address=change_address(kind, key))
        change = services.edits.save(record, replacing=key, change_id=opened["change"])
    except FieldErrors as wrong:
        return Outcome(words=MARKED, problems=problems_of(kind, wrong.problems, values))
    except TrackerError as error:
        return Outcome(words=worded(kind, str(error)))
    return Outcome(change=change, address=address_of(kind, record), back=home_of(kind, key))


def removed(services: Services, kind: Kind, opened: Mapping[str, Any]) -> Outcome:
    """Delete what a form was opened with, once."""
    key = key_of(opened)
    if key is None:
        return Outcome(words="There is nothing to delete yet.")
    try:
        change = services.edits.remove(kind, key, change_id=opened["remove"])
    except TrackerError as error:
        return Outcome(words=worded(kind, str(error)))
    return Outcome(change=change, address=home_of(kind, None, of=key), back=home_of(kind, key))


def problems_of(kind: Kind, problems: Mapping[str, str], values: Mapping[str, Any]) -> dict[str, str]:
    """What is wrong with which field of the form, in its own words."""
    form = FORMS[kind]
    said: dict[str, str] = {}
    for column, words in problems.items():
        where = "readings" if column in ("supply_v", "motor") else column
        said.setdefault(where, plain(words, form, MEANINGS))
    for one in form.fields():
        if one.entry == "choice" and one.column in said and not values.get(one.column):
            said[one.column] = CHOOSE
    return said


def worded(kind: Kind, words: str) -> str:
    """A refusal in the words of the pages."""
    return plain(words, FORMS[kind], MEANINGS)


def address_of(kind: Kind, record: Record) -> str:
    """Where a record is seen."""
    if isinstance(record, Run):
        return pack_address(record.pack, record.started_at)
    if isinstance(record, Charge):
        return pack_address(record.pack)
    return pack_address(record.name) if kind == "pack" and not isinstance(record, BenchTest) else CONTROLLERS_PATH


def home_of(kind: Kind, key: Key | None, *, of: Key | None = None) -> str:
    """Where a record of that key is seen; without one, where its kind is."""
    if kind in ("vehicle", "controller", "bench"):
        return CONTROLLERS_PATH
    if isinstance(key, str):
        return pack_address(key)
    if key is not None:
        return pack_address(key[0], key[1] if kind == "run" else None)
    return PACK_PATH if of is None or isinstance(of, str) else pack_address(of[0])
