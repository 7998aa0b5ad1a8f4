"""The shape of a form as data: a field is a column of the logbook with its label, its unit and what to enter in plain words."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from tracker.domain.changes import Kind

Entry = Literal["words", "number", "time", "day", "notes", "choice", "several", "lines"]
Choices = Literal["", "chemistries", "packs", "vehicles", "controllers", "modes", "yes_no", "endings", "goals"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Field:
    """One field: the column it fills, how it is entered and what is said of it."""

    column: str
    entry: Entry
    label: str
    hint: str = ""
    needed: bool = False
    choices: Choices = ""
    """Of a choice: which list."""
    empty: str = ""
    """Of a choice: the words for nothing chosen; none where something must be."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Group:
    """Fields that belong together under a heading."""

    heading: str
    fields: tuple[Field, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Form:
    """One kind of thing that is written down."""

    kind: Kind
    noun: str
    """As a sentence goes on with it: bench test."""
    about: str
    verb: Literal["Add", "Write down"] = "Add"
    groups: tuple[Group, ...]
    more: tuple[Field, ...] = ()
    """Seldom needed: folded away until one is filled in."""

    def fields(self) -> Iterator[Field]:
        """Every field, in the order shown."""
        for group in self.groups:
            yield from group.fields
        yield from self.more

    def columns(self) -> list[str]:
        """Every column that is shown."""
        return [field.column for field in self.fields()]


def field_id(kind: str, column: str) -> str:
    """Where a field stands on the page."""
    return f"change-{kind}-{column.replace('_', '-')}"


_COLUMN = re.compile(r"\b[a-z]+_[a-z]+(?:_[a-z]+)?\b")
_QUOTED = re.compile(r"('[^']*')")
_OTHERWISE = ((re.compile(r"\bvehicle(s?)\b"), r"model\1"), (re.compile(r"\bthe cutoff mode none\b"), "that it never does"))
"""What the services call otherwise than the pages."""


def plain(problem: str, form: Form, meanings: Mapping[str, str]) -> str:
    """What is wrong, in the words of the pages: labels of this form in place of the names of columns, and a capital to begin with."""
    names = {field.column: f"“{field.label}”" for field in form.fields()} | dict(meanings)
    # What stands in quotation marks was given by a person and stays as it is.
    parts = [part if place % 2 else _reworded(part, names) for place, part in enumerate(_QUOTED.split(problem.strip()))]
    said = "".join(parts)
    said = f"this {said}" if said.startswith("is ") else said
    said = said[:1].upper() + said[1:]
    return said if said.endswith(".") else f"{said}."


def _reworded(part: str, names: Mapping[str, str]) -> str:
    part = _COLUMN.sub(lambda match: names.get(match[0], match[0]), part)
    for pattern, words in _OTHERWISE:
        part = pattern.sub(words, part)
    return part
