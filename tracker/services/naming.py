"""What a record is called: its kind, its key, and the words for it and for what was done to it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

from tracker.domain.changes import Key, Kind, Record
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.session import BenchTest, Charge, Run
from tracker.errors import InputError

KINDS: dict[type, Kind] = {Pack: "pack", Vehicle: "vehicle", Controller: "controller", Run: "run", Charge: "charge", BenchTest: "bench"}

_NAMED: tuple[Kind, ...] = ("pack", "vehicle", "controller")
_BELOW = {"run": "run", "charge": "charge", "trace": "recording"}
"""Tables of which a record takes rows with it when it is deleted."""
_TITLES: dict[Kind, str] = {"vehicle": "Model", "run": "Run", "charge": "Charge", "bench": "Bench test"}


def kind_of(record: Record) -> Kind:
    """Return the kind of a record."""
    kind = KINDS.get(type(record))
    if kind is None:
        raise InputError(f"{type(record).__name__} is not a record; allowed are {', '.join(each.__name__ for each in KINDS)}.")
    return kind


def key_of(record: Record) -> Key:
    """Return what names a record."""
    if isinstance(record, Run):
        return record.pack, record.started_at
    if isinstance(record, Charge):
        return record.pack, record.finished_at
    return (record.controller, record.tested_at) if isinstance(record, BenchTest) else record.name


def check_kind(kind: Kind) -> None:
    """Refuse a kind there is none of."""
    if kind not in KINDS.values():
        raise InputError(f"'{kind}' is not a kind of record; allowed are {', '.join(KINDS.values())}.")


def check_key(kind: Kind, key: Key) -> None:
    """Refuse a key that cannot name a record of that kind."""
    check_kind(kind)
    if isinstance(key, str) != (kind in _NAMED):
        raise InputError(f"a {kind} is named by {'its name' if kind in _NAMED else 'a name and a time'}; {key!r} was given.")
    if not isinstance(key, str) and key[1].tzinfo is None:
        raise InputError(f"the time {key[1]} has no time zone; give one that does.")


def title(kind: Kind, key: Key) -> str:
    """Return "Pack 'Tug 1'", "Run of 'Tug 1', 25 Nov 14:30"."""
    if isinstance(key, str):
        return f"{_TITLES.get(kind, kind.capitalize())} '{key}'"
    return f"{_TITLES[kind]} of '{key[0]}', {short_time(key[1])}"


def opening(kind: Kind, key: Key) -> str:
    """Return the title as a sentence begins with it: with a comma behind a time."""
    return title(kind, key) if isinstance(key, str) else f"{title(kind, key)},"


def short_time(at: datetime) -> str:
    """Return a time in the local zone, the year only where it is not this one."""
    local = at.astimezone()
    year = "" if local.year == datetime.now(UTC).astimezone().year else f" {local.year}"
    return f"{local.day} {local:%b}{year} {local:%H:%M}"


def words_for_new(record: Record) -> str:
    """Return the words for a record that was written down."""
    return f"{opening(kind_of(record), key_of(record))} written down"


def words_for_changed(stored: Record, record: Record) -> str:
    """Return the words for a record that was changed."""
    kind, was, now = kind_of(record), key_of(stored), key_of(record)
    if was != now:
        moved = f"renamed to '{now}'" if isinstance(now, str) else f"moved to '{now[0]}', {short_time(now[1])}"
        return f"{opening(kind, was)} {moved}"
    if isinstance(record, Pack) and isinstance(stored, Pack) and (record.retired_on is None) != (stored.retired_on is None):
        return f"{opening(kind, now)} {'taken back into use' if record.retired_on is None else 'retired'}"
    return f"{opening(kind, now)} changed"


def words_for_removed(kind: Kind, key: Key, counts: Mapping[str, int]) -> str:
    """Return the words for a record that was deleted, and how many rows of which tables went with it."""
    with_it = [f"{count} {one if count == 1 else f'{one}s'}" for table, one in _BELOW.items() if (count := counts.get(table, 0))]
    listed = with_it[0] if len(with_it) == 1 else f"{', '.join(with_it[:-1])} and {with_it[-1]}" if with_it else ""
    return f"{opening(kind, key)} deleted{' with ' if listed else ''}{listed}"
