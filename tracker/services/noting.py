"""Doing something to the logbook exactly once, and noting it so that it can be taken back."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import asdict, is_dataclass
from datetime import date
from typing import Any
from uuid import uuid4

from tracker.domain.changes import Change, Key, Kind, Record
from tracker.errors import ConflictError, InputError
from tracker.services.assessing import assess_and_save
from tracker.services.naming import key_of, kind_of
from tracker.services.saving import Done, find, remove_record, save_record
from tracker.store.records import Records

_ID = re.compile(r"[0-9a-fA-F]{32}|[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")


def once(records: Records, change_id: str | None, asked: Any, work: Callable[[], Done]) -> Change:
    """Do the work and note it, estimating the packs it touched; what was done under that id before is not done again.

    ConflictError when something else was asked for under that id.
    """
    digest = digest_of(asked)
    if change_id is not None:
        checked_id(change_id)
        noted = records.noted_change(change_id)
        if noted is not None:
            if noted.asked != digest:
                raise ConflictError(
                    f"the change {change_id} is stored already and is another one: {noted.change.words}; give this one its own id."
                )
            return noted.change
    done = work()
    change = note(records, done, asked=digest, change_id=change_id)
    assess_and_save(records, done.assess)
    return change


def put(records: Records, record: Record) -> Done:
    """Store a record or change the one of its key, and note that."""
    key = key_of(record)
    stored = find(records, kind_of(record), key)
    done = save_record(records, record, None if stored is None else key)
    if done.steps:
        note(records, done, asked=digest_of(("save", record, None)))
    return done


def remove(records: Records, kind: Kind, key: Key) -> Done:
    """Delete a record, and note that."""
    done = remove_record(records, kind, key)
    note(records, done, asked=digest_of(("remove", kind, key)))
    return done


def note(records: Records, done: Done, *, asked: str, change_id: str | None = None) -> Change:
    """Note what was done."""
    return records.note_change(change_id or uuid4().hex, done.words, asked, done.steps)


def checked_id(change_id: str) -> None:
    """Refuse an id that cannot be one."""
    if not _ID.fullmatch(change_id):
        raise InputError(f"{change_id[:60]!r} is not the id of a change; allowed are 32 hexadecimal digits, or a UUID.")


def digest_of(asked: Any) -> str:
    """Return a digest that tells requests apart."""
    return hashlib.sha256(json.dumps(_plain(asked)).encode()).hexdigest()


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return [type(value).__name__, {name: _plain(each) for name, each in asdict(value).items()}]
    if isinstance(value, (tuple, list)):
        return [_plain(each) for each in value]
    if isinstance(value, dict):
        return {name: _plain(each) for name, each in value.items()}
    return value.isoformat() if isinstance(value, date) else value
