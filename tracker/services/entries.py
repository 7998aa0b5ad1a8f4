"""What a form gives, made into a record, and back."""

from __future__ import annotations

from collections.abc import Mapping

from tracker.domain.changes import Kind, Record
from tracker.errors import InputError
from tracker.intake.record import parse_charge, parse_run


def record_from(kind: Kind, texts: Mapping[str, str]) -> Record:
    """Return the record that texts by column name describe; FieldErrors by column."""
    if kind == "run":
        return parse_run(texts)
    if kind == "charge":
        return parse_charge(texts)
    raise InputError(f"no form gives a {kind}.")
