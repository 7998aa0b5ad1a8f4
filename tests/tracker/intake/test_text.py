"""Limits and round trip: names, lists of names, notes, kinds."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.intake import text
from tracker.intake.text import CellError, join_names, name_problem, split_names

Names = st.text(st.characters(codec="utf-8"), min_size=1, max_size=30).filter(lambda found: name_problem(found) is None)


@pytest.mark.parametrize(
    ("given_text", "problem"),
    [
        ("x" * 201, f"'{'x' * 39}…' is 201 characters long; a name is 1 to 200 characters on one line."),
        ("A\nB", "'A\\nB' holds a line break, a tab or another control character; a name is 1 to 200 characters on one line."),
        ("A\tB", "'A\\tB' holds a line break, a tab or another control character; a name is 1 to 200 characters on one line."),
        ("A\0B", "'A\\x00B' holds a NUL character (code 0), which is no text; take it out."),
        ("A\udc80", "'A\\udc80' holds a character that is not Unicode text; type it anew."),
        ("  ", "the name is empty; a name is 1 to 200 characters on one line."),
    ],
)
def test_what_is_no_name(given_text: str, problem: str) -> None:
    with pytest.raises(CellError) as caught:
        text.name(given_text)
    assert str(caught.value) == problem


def test_blanks_at_the_ends_of_a_name_do_not_count() -> None:
    assert text.name("\u00a0 Blue 3 ") == "Blue 3"


def test_what_begins_like_a_formula_stays_as_it_is() -> None:
    assert text.name("=SUM(A1)") == "=SUM(A1)"
    assert text.notes("-1+2") == "-1+2"


def test_notes_have_a_longest() -> None:
    assert text.notes("x" * 100_000) == "x" * 100_000
    with pytest.raises(CellError, match=r"^the notes are 100,001 characters long; allowed are up to 100,000\.$"):
        text.notes("x" * 100_001)


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("left right", ("left", "right")),
        (' "left side"   right ', ("left side", "right")),
        ('7" "say ""hi"" now"', ('7"', 'say "hi" now')),
        ('a"b c', ('a"b', "c")),
    ],
)
def test_lists_of_names(cell: str, expected: tuple[str, ...]) -> None:
    assert split_names(cell) == expected


def test_a_name_is_listed_once() -> None:
    with pytest.raises(CellError, match=r"^'left' is named twice; name each once\.$"):
        split_names("left right left")


def test_an_empty_name_in_quotation_marks_is_none() -> None:
    with pytest.raises(CellError, match="the name is empty"):
        split_names('left ""')


@given(st.lists(Names, unique=True, max_size=5))
def test_round_trip_of_lists_of_names(names: list[str]) -> None:
    assert split_names(join_names(names)) == tuple(names)


def test_kinds_are_found_whatever_their_capitals() -> None:
    assert text.one_of(" LiPo ", ("lipo", "life")) == "lipo"
    with pytest.raises(CellError, match=r"^'lead' is not known; allowed are lipo and life\.$"):
        text.one_of("lead", ("lipo", "life"))


@given(st.text())
def test_what_is_shown_never_upsets_a_terminal(found: str) -> None:
    shown = text.shown(found)
    assert shown.isprintable()
    assert len(shown) <= 2 + 40 * 10
