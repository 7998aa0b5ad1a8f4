"""Limits: whatever a file holds, it is read or refused; and a large file of rubbish needs little memory."""

from __future__ import annotations

import random
import tracemalloc
from pathlib import Path

import pytest

from tracker.errors import ImportRefusedError
from tracker.intake.logbook import read_files
from tracker.intake.refusals import MOST_LISTED

SOUNDS = (
    'pack,chemistry,series,parallel,capacity_mah,continuous_c,acquired_on,retired_on,notes\nA,lipo,3,1,2200,30.5,2024-01-01,,"a, ""b""\nc"\n',
    'vehicle,controllers,lead_mohm,usual_a,notes\ngroomer,left right,3.5,12,\ntug,"""left side""",,,\n',
    "controller,cutoff_mode,cutoff_v,restart_v,load_share,powers_receiver,notes\nleft,pack_v,6.4,7,0.5,yes,x\n",
    "pack;vehicle;started_at;run_min;before_v;used_mah;pack_c;ended_by\nA;tug;2025-04-03T12:30;12,5;4,15 4,16 4,15;1300;-5;driver\n",
    "pack,finished_at,put_back_mah,end_v,goal,cell_mohm,pack_c\nA,2025-04-03T12:30Z,1350,12.6,full,3 4 5,20\n",
    "controller,tested_at,supply_v,motor\nleft,2025-04-03T12:30Z,7,running\nleft,2025-04-03T12:30Z,6.4,stopped\n",
)
PIECES = [
    *(
        piece.encode()
        for piece in (",", ";", '"', '""', "\n", "\r", "\r\n", "\t", " ", ".", "-", "0", "9" * 40, "1e400", "NaN", "=", "\u2028")
    ),
    *(
        piece.encode()
        for piece in ("pack", "started_at", "run_min", "notes", "vehicle", "1,300", "03/04/2025", "45413", "9999-12-31T23:59-23:59")
    ),
    b"\0",
    b"\xff",
    b"\xef\xbb\xbf",
    b"\xff\xfe",
    b"\xed\xa0\x80",
    b"PK\x03\x04",
    "١".encode(),
    "🔋".encode(),
]
MUTANTS = 2000
SOUPS = 1000


def mutated(chance: random.Random) -> bytes:
    content = bytearray(chance.choice(SOUNDS).encode())
    for _ in range(chance.randint(1, 6)):
        start = chance.randrange(len(content) + 1)
        end = start + chance.choice((0, 0, 1, 2, 5, 30))
        what = chance.randrange(4)
        if what == 0:
            content[start:end] = chance.choice(PIECES)
        elif what == 1:
            content[start:end] = chance.randbytes(chance.randint(0, 4))
        elif what == 2:
            del content[start:end]
        else:
            content[start:start] = content[start:end] * chance.randint(1, 3)
    return bytes(content)


def soup(chance: random.Random) -> bytes:
    if chance.random() < 0.3:
        return chance.randbytes(chance.randint(0, 300))
    return b"".join(chance.choice(PIECES) for _ in range(chance.randint(0, 60)))


def outcome(path: Path, content: bytes) -> str:
    path.write_bytes(content)
    try:
        read_files([path])
    except ImportRefusedError as error:
        refusal = error
    else:
        return "read"
    assert 1 <= len(refusal.rows) <= MOST_LISTED
    for row in refusal.rows:
        assert row.line >= 1
        assert row.message.endswith("."), row
        assert (row.column + row.message).isprintable(), row
    return "refused"


def test_mutated_files_are_read_or_refused(tmp_path: Path) -> None:
    chance = random.Random(20250403)
    outcomes = [outcome(tmp_path / "x.csv", mutated(chance)) for _ in range(MUTANTS)]
    # Both must be common, or the mutations are too weak or too strong to find anything.
    assert min(outcomes.count("read"), outcomes.count("refused")) > MUTANTS // 10


def test_soup_is_read_or_refused(tmp_path: Path) -> None:
    chance = random.Random(20250404)
    outcomes = [outcome(tmp_path / "x.csv", soup(chance)) for _ in range(SOUPS)]
    assert outcomes.count("refused") > SOUPS // 2


def test_the_sound_files_are_sound(tmp_path: Path) -> None:
    assert [outcome(tmp_path / "x.csv", sound.encode()) for sound in SOUNDS] == ["read"] * len(SOUNDS)


HEADER = b"pack,started_at,run_min,before_v,notes\n"
ROWS = 50_000
MOST_BYTES = 1_500_000
"""The limit in the test of memory: fifty thousand rows kept would need more than ten times as much."""


@pytest.mark.parametrize(
    ("content", "listed"),
    [
        (HEADER + b"A,noon,x,?,some words about it\n" * ROWS, MOST_LISTED),
        (HEADER + b"A,2025-01-01T10:00Z,1\n" * ROWS, MOST_LISTED),
        (HEADER + b'"A" x,,,,some words about it\n' * ROWS, MOST_LISTED),
        (HEADER + b"A\xff,2025-01-01T10:00Z,1,2,\n" * ROWS, MOST_LISTED),
        (HEADER + b"\x00" * 30 * ROWS, 1),
        (HEADER + b'A,2025-01-01T10:00Z,1,2,"' + (b"x" * 29 + b"\n") * ROWS, MOST_LISTED),
        (b"\n" * ROWS + b"x" * 30 * ROWS, 1),
    ],
    ids=["bad cells", "ragged", "bad quotation marks", "not UTF-8", "one line of NUL", "never closed", "no header"],
)
def test_rubbish_needs_little_memory(tmp_path: Path, content: bytes, listed: int) -> None:
    path = tmp_path / "rubbish.csv"
    path.write_bytes(content)
    size = len(content)
    del content
    tracemalloc.start()
    try:
        with pytest.raises(ImportRefusedError) as caught:
            read_files([path])
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(caught.value.rows) == listed
    assert most < MOST_BYTES
    assert size > 0.7 * MOST_BYTES


def test_good_rows_among_rubbish_are_not_kept(tmp_path: Path) -> None:
    path = tmp_path / "rubbish.csv"
    bad, good = b"A,noon,1,2,\n", b"".join(b"pack %d,2025-01-01T10:00Z,12,7.4,some words\n" % number for number in range(20_000))
    path.write_bytes(HEADER + bad * MOST_LISTED + good)
    tracemalloc.start()
    try:
        with pytest.raises(ImportRefusedError):
            read_files([path])
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < 2 * MOST_BYTES
