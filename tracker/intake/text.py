"""Words in cells: names, notes, yes or no, kinds, and lists."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from tracker.errors import InputError

LONGEST_NAME = 200
LONGEST_NOTES = 100_000
_MOST_SHOWN = 40

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")
_ITEM = re.compile(r'"((?:[^"]|"")*)"(?=\s|$)|(\S+)')


class CellError(InputError):
    """One cell cannot be read; the message says what was given and what is allowed, and is put behind the column's name."""


def shown(text: str) -> str:
    """Return what was given in quotation marks, cut short, with nothing in it that could upset a terminal."""
    part = text if len(text) <= _MOST_SHOWN else text[: _MOST_SHOWN - 1] + "…"
    return "'" + "".join(char if char.isprintable() else char.encode("unicode_escape").decode("ascii") for char in part) + "'"


def either(words: Sequence[str]) -> str:
    """Return `a, b and c`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def sound(text: str) -> str:
    """Return `text` if every database can hold it."""
    if "\0" in text:
        raise CellError(f"{shown(text)} holds a NUL character (code 0), which is no text; take it out.")
    if not text.isascii():
        try:
            text.encode()
        except UnicodeEncodeError as error:
            raise CellError(f"{shown(text)} holds a character that is not Unicode text; type it anew.") from error
    return text


def name(text: str) -> str:
    """Return a name: 1 to 200 characters on one line; blanks at its ends do not belong to it."""
    found = sound(text).strip()
    problem = name_problem(found)
    if problem:
        raise CellError(problem)
    return found


def name_problem(text: str) -> str | None:
    """Return what keeps `text` from being a name that files can carry, or None."""
    allowed = f"a name is 1 to {LONGEST_NAME} characters on one line"
    if not text:
        return f"the name is empty; {allowed}."
    if len(text) > LONGEST_NAME:
        return f"{shown(text)} is {len(text):,} characters long; {allowed}."
    if _CONTROL.search(text):
        return f"{shown(text)} holds a line break, a tab or another control character; {allowed}."
    if text != text.strip():
        return f"{shown(text)} begins or ends with a blank; {allowed}, without blanks at its ends."
    return None


def notes(text: str) -> str:
    """Return notes exactly as they stand, blanks and line breaks included."""
    if len(text) > LONGEST_NOTES:
        raise CellError(f"the notes are {len(text):,} characters long; allowed are up to {LONGEST_NOTES:,}.")
    return sound(text)


def yes_or_no(text: str) -> bool:
    """Return whether the cell says yes."""
    return one_of(text, ("yes", "no")) == "yes"


def one_of(text: str, allowed: Sequence[str]) -> str:
    """Return which of the words allowed is meant; capitals make no difference."""
    found = text.strip().lower()
    if found in allowed:
        return found
    raise CellError(f"{shown(text.strip())} is not known; allowed are {either(allowed)}.")


def split_names(text: str) -> tuple[str, ...]:
    """Return names that are separated by blanks; one that holds a blank stands in double quotation marks, doubled inside."""
    found = tuple(name(quoted.replace('""', '"') if quoted or not plain else plain) for quoted, plain in _ITEM.findall(text))
    for position, item in enumerate(found):
        if item in found[:position]:
            raise CellError(f"{shown(item)} is named twice; name each once.")
    return found


def join_names(names: Iterable[str]) -> str:
    """Return names as one cell that `split_names` reads back."""
    return " ".join('"' + item.replace('"', '""') + '"' if item.startswith('"') or _has_blank(item) else item for item in names)


def _has_blank(text: str) -> bool:
    return any(char.isspace() for char in text)
