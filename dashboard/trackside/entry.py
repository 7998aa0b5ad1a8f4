"""An entry of the page Log: texts as typed, and when they were written down, made into a record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from dashboard.theme import celsius_text
from dashboard.trackside.fields import DEGREES, EACH, FORMS, KINDS, MOST_CELLS, READINGS, WARMTH, Form, Kind
from tracker.domain.session import Charge, Run
from tracker.errors import FieldErrors, InputError
from tracker.services.entries import record_from

MOST_FIELDS = 400
MOST_CHARACTERS = 20_000
FIRST_YEAR, LAST_YEAR = 1900, 2199
"""As for every time in a logbook."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """What a person typed, by the names of the form's fields."""

    kind: Kind
    texts: Mapping[str, str]
    at: datetime
    """When it was written down: a run without a time had just ended then, also when it is handed over hours later."""


def entry_in(body: Any) -> Entry:
    """The entry in a request's JSON; InputError where it is none."""
    if not isinstance(body, dict) or body.get("kind") not in KINDS or not isinstance(body.get("texts"), dict):
        raise InputError("This is not an entry: needed are a kind, run or charge, and its texts.")
    texts = {str(name): text for name, text in body["texts"].items()}
    if len(texts) > MOST_FIELDS or not all(isinstance(text, str) and len(text) <= MOST_CHARACTERS for text in texts.values()):
        raise InputError("The texts of an entry are words by field, none of them longer than anybody would type.")
    return Entry(kind=body["kind"], texts=texts, at=_moment(body.get("at")))


def record_of(entry: Entry) -> Run | Charge:
    """The record an entry describes; FieldErrors with what is wrong, by field."""
    form = FORMS[entry.kind]
    texts, problems = _by_column(form, entry.texts)
    # As typed on the page, which may have been shown to another reader's liking when it was; so the entry itself says in what.
    if entry.texts.get(DEGREES) == "f" and texts.get(WARMTH):
        texts[WARMTH] = celsius_text(texts[WARMTH])
    timeless = not texts.get(form.time)
    if timeless:
        texts[form.time] = entry.at.isoformat()
    try:
        record = record_from(entry.kind, texts)
    except FieldErrors as errors:
        raise FieldErrors({**errors.problems, **problems}) from errors
    if problems:
        raise FieldErrors(problems)
    if isinstance(record, Run):
        # The volts after were read when the rest was over, so the drive itself ended earlier by that much.
        gone = timedelta(seconds=record.run_s + (record.rest_after_s or 0.0))
        return replace(record, started_at=entry.at - gone) if timeless else record
    if isinstance(record, Charge):
        return record
    raise InputError("This page takes runs and charges.")


def _by_column(form: Form, given: Mapping[str, str]) -> tuple[dict[str, str], dict[str, str]]:
    """The texts as the columns of a logbook file, the boxes of a field put together; and what is wrong with the boxes."""
    texts: dict[str, str] = {}
    problems: dict[str, str] = {}
    for field in form.fields:
        if field.look == "switch":
            continue
        boxed = field.look == "cells" or (field.look == "volts" and given.get(READINGS) == EACH)
        boxes = _boxes(given, field.name) if boxed else [given.get(field.name, "")]
        filled = [text for text in boxes if text.strip()]
        if len(filled) not in {0, len(boxes)}:
            missing = next(number for number, text in enumerate(boxes, 1) if not text.strip())
            problems[field.name] = f"cell {missing} is missing; give every cell, or none."
        elif filled:
            texts[field.name] = " ".join(filled)
    return texts, problems


def _boxes(given: Mapping[str, str], name: str) -> list[str]:
    """The texts of one box a cell, in the order of the cells."""
    numbers = [number for number in range(1, MOST_CELLS + 1) if f"{name}_{number}" in given]
    return [given[f"{name}_{number}"].strip() for number in numbers]


def _moment(text: Any) -> datetime:
    """When an entry was written down, to the second: a logbook is read by people."""
    try:
        moment = datetime.fromisoformat(text) if isinstance(text, str) else None
        in_utc = moment.astimezone(UTC) if moment is not None and moment.tzinfo is not None else None
    except (ValueError, OverflowError):  # no time, or one beyond the calendar
        in_utc = None
    # Counted back from by the length of a run, which must not lead out of the calendar.
    if in_utc is None or not FIRST_YEAR <= in_utc.year <= LAST_YEAR:
        raise InputError("An entry needs the time at which it was written down, with its offset.")
    return in_utc.replace(microsecond=0)
