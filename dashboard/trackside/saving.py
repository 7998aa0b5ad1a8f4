"""Saving an entry of the page Log through the services, once for each id, and saying what it showed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from dashboard.needs import Services
from dashboard.trackside.answer import gone, saved_charge, saved_run
from dashboard.trackside.entry import Entry, record_of
from dashboard.trackside.fields import Kind
from tracker.domain.changes import Change
from tracker.domain.session import Charge, Run
from tracker.errors import NotFoundError

Key = tuple[str, datetime]


@dataclass(frozen=True, kw_only=True, slots=True)
class Saved:
    """An entry that is in the logbook."""

    change: Change
    kind: Kind
    key: Key
    new: bool
    """Whether this request put it there."""


def save(services: Services, entry: Entry, entry_id: str) -> Saved:
    """Save the record of an entry under its id; the same one again changes nothing."""
    record = record_of(entry)
    before = services.edits.done(entry_id)
    change = services.edits.save(record, change_id=entry_id)
    return Saved(change=change, kind=entry.kind, key=key_of(record), new=before is None)


def stored(services: Services, kind: Kind, change_id: str, key: Key) -> Saved | None:
    """What was saved under an id before, or None."""
    change = services.edits.done(change_id)
    return None if change is None else Saved(change=change, kind=kind, key=key, new=False)


def answer_of(services: Services, saved: Saved) -> str:
    """What was saved and what it shows, as HTML; where it is no longer there, that alone."""
    pack, at = saved.key
    try:
        if saved.kind == "run":
            assessed = services.runs.one(pack, at)
            return saved_run(saved.change, assessed.run, assessed.estimate)
        charge = services.charges.one(pack, at)
        findings = services.packs.record(pack).findings
        return saved_charge(saved.change, charge, [finding for finding in findings if finding.at == at])
    except NotFoundError:
        return gone(saved.change)


def key_of(record: Run | Charge) -> Key:
    """What names a record: its pack and its time."""
    return record.pack, record.started_at if isinstance(record, Run) else record.finished_at


def key_in(pack: str | None, at: str | None) -> Key | None:
    """The pack and time in an address, or None where there are none."""
    try:
        moment = datetime.fromisoformat(at or "")
        return (pack, moment.astimezone(UTC)) if pack and moment.tzinfo else None
    except (ValueError, OverflowError):  # no time, or one beyond the calendar
        return None
