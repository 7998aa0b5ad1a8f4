"""Limits and round trip: which numbers are read, which are refused and in what words."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tracker.intake.conftest import Complaints, Reader
from tracker.intake import cells, numbers
from tracker.intake.cells import NumberCell
from tracker.intake.numbers import DecimalMark, Limits
from tracker.intake.text import CellError

PACKS = "pack,chemistry,series,capacity_mah,continuous_c\n"
PACKS_SEMICOLON = PACKS.replace(",", ";")
CELL = cells.number(0, 100, "A")


def number(text: str, cell: NumberCell = CELL) -> object:
    return cell.reader(DecimalMark(points_expected=True))(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [("7", 7.0), ("7.5", 7.5), ("+7.5", 7.5), (".5", 0.5), ("5.", 5.0), ("7.5e1", 75.0), ("1E-3", 0.001), ("007", 7.0), ("7,5", 7.5)],
)
def test_what_is_a_number(text: str, expected: float) -> None:
    assert number(text) == expected


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("NaN", "'NaN' is not a number; leave the cell empty when nothing was recorded"),
        ("-inf", "'-inf' is not a number; leave the cell empty when nothing was recorded"),
        ("n/a", "'n/a' is not a number; leave the cell empty when nothing was recorded"),
        ("-", "'-' is not a number; leave the cell empty when nothing was recorded"),
        ("1e400", "'1e400' is too large"),
        ("1e999999999999", "'1e999999999999' is too large"),
        ("101", "'101' is out of range"),
        ("-0.1", "'-0.1' is out of range"),
        ("7.4V", "'7.4V' is not a number; write it without a unit or other letters"),
        ("1_0", "'1_0' is not a number"),
        ("1,234,567", "'1,234,567' has thousands separators; write the number without them"),
        ("1.234,5", "'1.234,5' has thousands separators; write the number without them"),
        ("1'234", "'1'234' has thousands separators; write the number without them"),
        ("1 234", "'1 234' has thousands separators; write the number without them"),
        ("٣", "'٣' is not written in the digits 0 to 9"),
        ("0x10", "'0x10' is not a number"),
        ("7..5", "'7..5' is not a number"),
        ("9" * 500, f"'{'9' * 39}…' is too long for a number"),
        ("\x1b[31m", "'\\x1b[31m' is not a number"),
    ],
)
def test_what_is_none(text: str, problem: str) -> None:
    with pytest.raises(CellError) as caught:
        number(text)
    assert str(caught.value).startswith(problem)
    assert str(caught.value).endswith("; allowed are numbers from 0 to 100 A.")


def test_above_zero_excludes_zero() -> None:
    cell = cells.number(0, 5, "V", above=True)
    assert number("0.001", cell) == 0.001
    with pytest.raises(CellError, match=r"^'0\.0' is out of range; allowed are numbers above 0 up to 5 V\.$"):
        number("0.0", cell)


def test_minus_zero_is_zero() -> None:
    assert math.copysign(1, float(str(number("-0")))) == 1


@pytest.mark.parametrize("text", ["3", "3.0", "3e0"])
def test_whole_numbers(text: str) -> None:
    assert number(text, cells.whole(1, 100)) == 3


def test_a_part_of_a_whole_number_is_refused() -> None:
    with pytest.raises(CellError, match=r"^'2\.5' is not a whole number; allowed are whole numbers from 1 to 100\.$"):
        number("2.5", cells.whole(1, 100))


def test_decimal_comma_in_a_file_separated_by_semicolons(read: Reader) -> None:
    pack = read(PACKS_SEMICOLON + "A;lipo;3;2200;32,5\nB;lipo;3;1300,5;40\n").logbook.packs
    assert (pack[0].continuous_c, pack[1].capacity_ah) == (32.5, 1.3005)


def test_decimal_comma_in_quotation_marks_in_a_file_separated_by_commas(read: Reader) -> None:
    assert read(PACKS + 'A,lipo,3,2200,"32,5"\n').logbook.packs[0].continuous_c == 32.5


def test_decimal_point_in_a_file_separated_by_semicolons(read: Reader) -> None:
    assert read(PACKS_SEMICOLON + "A;lipo;3;2200;32.5\n").logbook.packs[0].continuous_c == 32.5


def test_a_file_is_not_read_both_ways(complaints: Complaints) -> None:
    assert complaints(PACKS_SEMICOLON + "A;lipo;3;2200;32,5\nB;lipo;3;1300;3.5\n") == [
        (
            "3: continuous_c: '3.5' has a decimal point, but numbers here have a decimal comma ('32,5'); write 3,5; "
            "allowed are numbers above 0 up to 10000 times the capacity."
        )
    ]


def test_thousands_are_refused_when_the_file_has_shown_its_mark(complaints: Complaints) -> None:
    assert complaints(PACKS + 'A,lipo,3,"1,300",32.5\n') == [
        (
            "2: capacity_mah: '1,300' has a decimal comma, but numbers here have a decimal point ('32.5'); "
            "write 1300 if ',' separates thousands, 1.300 if it is a decimal mark; allowed are numbers from 10 to 10000000 mAh."
        )
    ]


@pytest.mark.parametrize(("header", "row"), [(PACKS, 'A,lipo,3,"12,300",\n'), (PACKS_SEMICOLON, "A;lipo;3;12,300;\n")])
def test_a_number_with_two_meanings_is_refused(complaints: Complaints, header: str, row: str) -> None:
    assert complaints(header + row) == [
        "2: capacity_mah: '12,300' may mean 12300 or 12.300; write 12300 or 12,3; allowed are numbers from 10 to 10000000 mAh."
    ]


def test_advice_on_a_number_with_two_meanings_keeps_to_what_is_allowed(complaints: Complaints) -> None:
    assert complaints(PACKS + 'A,lipo,3,"5,000",\n') == [
        "2: capacity_mah: '5,000' may be a decimal or have a mark of thousands; write 5000; allowed are numbers from 10 to 10000000 mAh."
    ]


def test_a_point_with_two_meanings_is_refused_where_commas_are_usual(complaints: Complaints, read: Reader) -> None:
    assert complaints(PACKS_SEMICOLON + "A;lipo;3;12.345;\n")[0].startswith(
        "2: capacity_mah: '12.345' may mean 12345 or 12.345; write 12345 or 12.3450;"
    )
    assert read(PACKS + "A,lipo,3,12.345,\n").logbook.packs[0].capacity_ah == 0.012345


def test_a_later_row_shows_what_an_earlier_one_means(read: Reader) -> None:
    packs = read(PACKS_SEMICOLON + "A;lipo;3;12,300;\nB;lipo;3;1300;2,5\n").logbook.packs
    assert packs[0].capacity_ah == 0.0123


def test_the_limits_of_a_column_show_what_is_meant(read: Reader) -> None:
    """3,812 V can only be a decimal comma, as no pack has 3812 V; from there on every number is read so."""
    runs = read("pack;started_at;run_min;before_v\nA;2025-01-01T10:00Z;12,125;3,812 3,807\n").logbook.runs
    assert (runs[0].before_v, runs[0].run_s) == ((3.812, 3.807), 727.5)


def test_a_nought_in_front_is_never_thousands() -> None:
    mark = DecimalMark(points_expected=False)
    mark.learn("0,250", Limits(0, 1e6, ""))
    assert mark.mark == ","


Finite = st.floats(min_value=1e-6, max_value=1e6)


@given(Finite)
def test_milli_round_trip(value: float) -> None:
    assert numbers.scaled(numbers.scaled_text(value, -3), -3) == value


@given(Finite)
def test_minutes_round_trip(value: float) -> None:
    assert numbers.multiplied(numbers.multiplied_text(value, 60), 60) == value


@given(st.floats(min_value=173.15, max_value=423.15))
def test_celsius_round_trip(value: float) -> None:
    cell = cells.celsius(-100, 150)
    assert number(cell.write(value), cell) == value


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_any_number_round_trip(value: float) -> None:
    cell = cells.number(-1.8e308, 1.79e308)
    text = cell.write(value)
    assert float(text) == value


@pytest.mark.parametrize(
    ("cell", "text", "value", "written"),
    [
        (cells.milli(0, 1e6, "mAh"), "1234.7", 1.2347, "1234.7"),
        (cells.milli(0, 1e6, "mAh"), "1300.0", 1.3, "1300"),
        (cells.milli(0, 1e6, "mAh"), "1.3e3", 1.3, "1300"),
        (cells.minutes(0, 1e6), "12.1", 726.0, "12.1"),
        (cells.celsius(-100, 150), "25", 298.15, "25"),
        (cells.celsius(-100, 150), "-12.5", 260.65, "-12.5"),
        (cells.number(0, 100), "7.40", 7.4, "7.4"),
        (cells.number(0, 100), "8", 8.0, "8"),
    ],
)
def test_values_are_the_nearest_and_texts_the_shortest(cell: NumberCell, text: str, value: float, written: str) -> None:
    assert number(text, cell) == value
    assert cell.write(value) == written
