"""Limits: encodings, separators, quotation marks, headers and ragged rows."""

from __future__ import annotations

import pytest

from tests.tracker.intake.conftest import Complaints, Reader
from tracker.domain.pack import Pack
from tracker.intake.columns import KINDS
from tracker.intake.separators import LONGEST_ROW

HEADER = "pack,chemistry,series,capacity_mah,notes\n"
PACK = Pack(name="Bär 1", chemistry="lipo", series=3, capacity_ah=2.2, notes="a, b; c")
ROW = 'Bär 1,lipo,3,2200,"a, b; c"'
GOOD = f"{HEADER}{ROW}\n"
SAVE = "save it as 'CSV UTF-8', separated by commas or semicolons."


@pytest.mark.parametrize(
    "content",
    [
        GOOD,
        GOOD.rstrip("\n"),
        GOOD.replace("\n", "\r\n"),
        GOOD.replace("\n", "\r"),
        "\ufeff" + GOOD,
        f"\n\n  \n{HEADER}\n\n,,,,\n  ,,\t,,\n{ROW}\n\n",
        'pack;chemistry;series;capacity_mah;notes\nBär 1;lipo;3;2200;"a, b; c"\n',
        '"pack","chemistry","series","capacity_mah","notes"\n"Bär 1","lipo","3","2200","a, b; c"\n',
        'Notes, PACK , Capacity_mAh, series,chemistry\n"a, b; c", Bär 1 , 2200 , 3, LiPo\n',
    ],
    ids=["plain", "no last line end", "CRLF", "CR", "byte-order mark", "blank lines", "semicolons", "all quoted", "other order"],
)
def test_ways_to_write_the_same_file(read: Reader, content: str) -> None:
    intake = read(content)
    assert intake.logbook.packs == (PACK,)
    assert intake.warnings == ()


def test_a_file_with_a_header_alone_holds_nothing(read: Reader) -> None:
    assert read(HEADER).logbook.packs == ()


def test_notes_keep_line_breaks_quotation_marks_and_blanks(read: Reader) -> None:
    intake = read(HEADER + 'A,lipo,3,2200," one\r\n""two""\rthree "\nB,lipo,3,2200,\n')
    assert intake.logbook.packs[0].notes == ' one\r\n"two"\rthree '
    assert intake.places["pack", "B"].line == 5


def test_a_quotation_mark_inside_a_bare_cell_is_text(read: Reader) -> None:
    assert read(HEADER + 'the 7" pack,lipo,3,2200,\n').logbook.packs[0].name == 'the 7" pack'


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        (b"", "1: file: is empty; its first row must name the columns."),
        (b"\n \r\n", "1: file: is empty; its first row must name the columns."),
        (GOOD.encode("utf-16"), f"1: file: is UTF-16 text; {SAVE}"),
        (b"\xfe\xff" + GOOD.encode("utf-16-be"), f"1: file: is UTF-16 text; {SAVE}"),
        (GOOD.encode("utf-16-le"), f"1: header: holds a NUL character (code 0), which is no text; {SAVE}"),
        (GOOD.encode("latin-1"), f"2: row: is not UTF-8 text (byte 0xE4 at character 2); {SAVE}"),
        (HEADER.replace("notes", "größe").encode("latin-1"), f"1: header: is not UTF-8 text (byte 0xF6 at character 38); {SAVE}"),
        (GOOD.replace("Bär", "B\0r").encode(), f"2: row: holds a NUL character (code 0), which is no text; {SAVE}"),
        (b"PK\x03\x04rest", f"1: file: is a spreadsheet or a packed archive, not a text file; open it and {SAVE}"),
        (b"\xd0\xcf\x11\xe0rest", f"1: file: is an old spreadsheet, not a text file; open it and {SAVE}"),
        (b"\x1f\x8brest", "1: file: is compressed; unpack it first."),
        (b"%PDF-1.4", "1: file: is a PDF document; a CSV file is needed."),
        (
            b"SQLite format 3\x00rest",
            "1: file: is a database; a CSV file is needed (the command 'restore' takes a backup).",
        ),
        (
            HEADER + "A,lipo,3,2200\n",
            "2: row: has 4 cells, but the header names 5 columns; every row needs as many, empty ones included.",
        ),
        (
            HEADER + "A\n",
            "2: row: has 1 cell, but the header names 5 columns; every row needs as many, empty ones included.",
        ),
        (
            HEADER + "A,lipo,3,2200,a, b\n",
            "2: row: has 6 cells, but the header names 5 columns; put a cell that holds ',' in double quotation marks.",
        ),
        (
            HEADER + 'A,lipo,3,2200,"a" b\n',
            (
                "2: row: has a quotation mark inside a cell in quotation marks; write a quotation mark that belongs to the text twice, "
                "and put a separator right behind the closing one."
            ),
        ),
        (
            HEADER + 'A,lipo,3,2200,"a\nB,lipo,3,2200,b\n',
            (
                "2: row: has a cell that opens with a quotation mark and is not closed; close it, "
                "or write it twice where it belongs to the text."
            ),
        ),
        (
            HEADER + 'A,lipo,3,2200,"' + "x" * 200_000 + '"\n',
            (
                "2: row: has a cell that opens with a quotation mark and is not closed; close it, "
                "or write it twice where it belongs to the text."
            ),
        ),
        (
            HEADER + "A,lipo,3,2200," + "x," * LONGEST_ROW + "\n",
            (
                "2: file: this row is longer than 500,000 characters, so that the rest of the file was not read; "
                "look for a missing line break or a quotation mark that is not closed."
            ),
        ),
        (
            HEADER + "A,lipo,3,2200," + '"x\n",' * LONGEST_ROW + "\n",
            (
                "2: file: this row is longer than 500,000 characters, so that the rest of the file was not read; "
                "look for a missing line break or a quotation mark that is not closed."
            ),
        ),
        ("pack,pack,chemistry,series,capacity_mah\n", "1: pack: stands more than once in the header; keep one such column."),
        (
            "pack,started_at,vehicle,before_v\nA,2025-01-01T10:00Z,tug,8\n",
            "1: header: lacks run_min, which a runs file needs; it has columns 'pack', 'started_at', 'vehicle', 'before_v'.",
        ),
        (
            "series,notes\n3,x\n",
            "1: header: lacks pack, chemistry and capacity_mah, which a packs file needs; it has columns 'series', 'notes'.",
        ),
    ],
)
def test_what_is_refused(complaints: Complaints, content: str | bytes, complaint: str) -> None:
    assert complaints(content) == [complaint]


KINDS_NEED = (
    "The first row must name the columns; needed at least: packs: pack chemistry series capacity_mah; vehicles: vehicle; "
    "controllers: controller cutoff_mode; runs: pack started_at run_min; charges: pack finished_at; "
    "bench: controller tested_at supply_v motor."
)


@pytest.mark.parametrize(
    ("header", "start"),
    [
        ("time_s,volts", "fits no kind of file (columns 'time_s', 'volts'). "),
        ("pack,notes", "fits no kind of file (columns 'pack', 'notes'). "),
        ("Bär 1,lipo,3,2200,x", "fits no kind of file (columns 'bär 1', 'lipo', '3', '2200', 'x'). "),
        (
            "pack\tchemistry",
            "fits no kind of file (column 'pack\\tchemistry'). Tabs separate nothing here: save the file with commas or semicolons. ",
        ),
    ],
)
def test_a_file_of_no_kind(complaints: Complaints, header: str, start: str) -> None:
    assert complaints(header + "\n1,2\n") == [f"1: header: {start}{KINDS_NEED}"]


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_a_kind_is_found_by_its_header_whole_or_bare(read: Reader, kind: object) -> None:
    from tracker.intake.columns import FileKind
    from tracker.intake.table_file import kind_of

    assert isinstance(kind, FileKind)
    assert kind_of([column.name for column in kind.columns]) is kind
    assert kind_of(list(kind.required)) is kind
    assert kind_of([*kind.required, "notes", "colour"]) is kind


def test_unknown_columns_are_named_in_warnings(read: Reader) -> None:
    intake = read("pack,chemistry,series,capacity_mah,colour,paralell,\nA,lipo,3,2200,red,2,x\n", "packs.csv")
    assert intake.logbook.packs[0].parallel == 1
    assert [warning.rpartition("packs.csv: ")[2] for warning in intake.warnings] == [
        "column 'colour' is not one of a packs file and was not read.",
        "column 'paralell' is not one of a packs file and was not read; did you mean parallel?",
        "column 7, which has no name, is not one of a packs file and was not read.",
    ]


def test_many_unknown_columns_are_counted(read: Reader) -> None:
    header = "pack,chemistry,series,capacity_mah" + "".join(f",x{number}" for number in range(30))
    warnings = read(header + "\n").warnings
    assert len(warnings) == 11
    assert warnings[-1].endswith(": 20 more columns are not of a packs file and were not read.")


def test_every_bad_row_is_listed_with_its_line(complaints: Complaints) -> None:
    found = complaints(HEADER + "\nA,soap,3,x,\n,lipo,,2200,\nC,lipo,3,2200\nD,lipo,3,2200,\n")
    assert found == [
        "3: chemistry: 'soap' is not known; allowed are lead, life, lihv, liion, lipo, nicd and nimh.",
        "3: capacity_mah: 'x' is not a number; allowed are numbers from 10 to 10000000 mAh.",
        "4: pack: is empty, but every pack needs it; allowed: a name of 1 to 200 characters on one line.",
        "4: series: is empty, but every pack needs it; allowed: whole numbers from 1 to 100.",
        "5: row: has 4 cells, but the header names 5 columns; every row needs as many, empty ones included.",
    ]
