"""Round trip: what is written is read back equal, whatever it is."""

from __future__ import annotations

import csv
import tempfile
from dataclasses import fields
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, cast

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tracker.intake.test_text import Names
from tracker import chemistry
from tracker.domain.controller import CUTOFF_MODES, Controller, Vehicle
from tracker.domain.logbook import Logbook
from tracker.domain.pack import Pack
from tracker.domain.session import ENDINGS, GOALS, BenchReading, BenchTest, Charge, Run
from tracker.errors import InputError
from tracker.intake.columns import KINDS, BenchRow
from tracker.intake.logbook import read_files
from tracker.intake.write import write_folder

FILES = ["bench.csv", "charges.csv", "controllers.csv", "packs.csv", "runs.csv", "vehicles.csv"]

Notes = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=60)
Times = st.datetimes(datetime(1900, 1, 2), datetime(2199, 12, 30), timezones=st.just(UTC))  # noqa: DTZ001
Days = st.dates(date(2000, 1, 1), date(2100, 1, 1))


def number(low: float, high: float) -> st.SearchStrategy[float]:
    # Nothing people measure is nearer to 0 than this; numbers below 1e-308 lose digits in any program.
    return st.floats(low or 1e-300, high)


def maybe(values: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.none() | values


def volts(series: int) -> st.SearchStrategy[tuple[float, ...]]:
    cells = st.tuples(*[number(0, 5)] * series)
    return st.just(()) | st.tuples(number(0, 5 if series == 1 else 1000)) | cells


@st.composite
def packs(draw: st.DrawFn, name: str) -> Pack:
    days = sorted(draw(st.tuples(Days, Days)))
    return Pack(
        name=name,
        chemistry=draw(st.sampled_from(chemistry.names())),
        series=draw(st.integers(1, 4)),
        parallel=draw(st.integers(1, 10_000)),
        capacity_ah=draw(number(0.01, 10_000)),
        continuous_c=draw(maybe(number(0, 10_000))),
        acquired_on=draw(maybe(st.just(days[0]))),
        retired_on=draw(maybe(st.just(days[1]))),
        notes=draw(Notes),
    )


@st.composite
def runs(draw: st.DrawFn, pack: Pack) -> Run:
    return Run(
        pack=pack.name,
        vehicle=draw(maybe(Names)),
        started_at=draw(Times),
        run_s=draw(number(0, 6e6)),
        rest_before_s=draw(maybe(number(0, 6e8))),
        before_v=draw(volts(pack.series)),
        loaded_v=draw(volts(pack.series)),
        loaded_a=draw(maybe(number(0, 1e4))),
        mean_a=draw(maybe(number(0, 1e4))),
        used_ah=draw(maybe(number(0, 1e4))),
        after_v=draw(volts(pack.series)),
        rest_after_s=draw(maybe(number(0, 6e8))),
        cutoff_v=tuple(draw(st.lists(number(0, 1000), max_size=3))),
        pack_k=draw(maybe(number(173.15, 423.15))),
        ended_by=draw(maybe(st.sampled_from(ENDINGS))),
        notes=draw(Notes),
    )


@st.composite
def charges(draw: st.DrawFn, pack: Pack) -> Charge:
    return Charge(
        pack=pack.name,
        finished_at=draw(Times),
        put_back_ah=draw(maybe(number(0, 1e4))),
        end_v=draw(volts(pack.series)),
        goal=draw(maybe(st.sampled_from(GOALS))),
        cell_ohm=draw(st.just(()) | st.tuples(*[number(0, 100)] * pack.series)),
        pack_k=draw(maybe(number(173.15, 423.15))),
        notes=draw(Notes),
    )


@st.composite
def controllers(draw: st.DrawFn, name: str) -> Controller:
    mode = draw(st.sampled_from(CUTOFF_MODES))
    high = 5 if mode == "cell_v" else 1000
    return Controller(
        name=name,
        cutoff_mode=mode,
        cutoff_v=draw(maybe(number(0, high))),
        restart_v=draw(maybe(number(0, high))),
        load_share=draw(maybe(number(0, 1))),
        powers_receiver=draw(maybe(st.booleans())),
        notes=draw(Notes),
    )


@st.composite
def vehicles(draw: st.DrawFn, name: str) -> Vehicle:
    return Vehicle(
        name=name,
        controllers=tuple(draw(st.lists(Names, unique=True, max_size=3))),
        lead_ohm=draw(maybe(number(0, 100))),
        usual_a=draw(maybe(number(0, 1e4))),
        notes=draw(Notes),
    )


@st.composite
def bench_tests(draw: st.DrawFn, name: str) -> BenchTest:
    reading = st.builds(BenchReading, supply_v=number(0, 1000), running=st.booleans())
    return BenchTest(controller=name, tested_at=draw(Times), readings=tuple(draw(st.lists(reading, min_size=1, max_size=4))))


@st.composite
def logbooks(draw: st.DrawFn) -> Logbook:
    names = draw(st.lists(Names, unique=True, max_size=2))
    some_packs = tuple(draw(packs(name)) for name in names)
    return Logbook(
        packs=some_packs,
        vehicles=tuple(draw(vehicles(name)) for name in names),
        controllers=tuple(draw(controllers(name)) for name in names),
        runs=tuple(draw(runs(pack)) for pack in some_packs),
        charges=tuple(draw(charges(pack)) for pack in some_packs),
        bench_tests=tuple(draw(bench_tests(name)) for name in names),
    )


def there_and_back(logbook: Logbook) -> Logbook:
    with tempfile.TemporaryDirectory() as folder:
        write_folder(logbook, Path(folder))
        intake = read_files([Path(folder)])
    assert intake.warnings == ()
    return intake.logbook


@settings(deadline=None, max_examples=40)
@given(logbooks())
def test_round_trip_of_everything(logbook: Logbook) -> None:
    assert there_and_back(logbook) == logbook


@pytest.mark.parametrize(
    "name",
    [
        'say "hi"',
        '"',
        "a,b;c",
        "=SUM(A1)",
        "+1",
        "-1",
        "@x",
        "'x",
        '7" pack',
        "a  b",
        "Ünïcödé 🔋",
        "nan",
        "\u202fx".strip() + "\u00a0y",
        "x" * 200,
    ],
)
def test_names_come_back_exactly(name: str) -> None:
    pack = Pack(name=name, chemistry="lipo", series=1, capacity_ah=1.0)
    vehicle = Vehicle(name=name, controllers=(name, "other"))
    logbook = there_and_back(Logbook(packs=(pack,), vehicles=(vehicle,)))
    assert (logbook.packs, logbook.vehicles) == ((pack,), (vehicle,))


@pytest.mark.parametrize(
    "notes", [" ", "\n", "\r", "a\r\nb\rc\n", '"', '""', ",", "\t x \t", "\u2028\x0b\x1c", "=1+1", "x" * 100_000, '"' * 100_000]
)
def test_notes_come_back_exactly(notes: str) -> None:
    pack = Pack(name="A", chemistry="lipo", series=1, capacity_ah=1.0, notes=notes)
    assert there_and_back(Logbook(packs=(pack,))).packs == (pack,)


def test_an_empty_logbook_comes_back_empty() -> None:
    assert there_and_back(Logbook()) == Logbook()


def test_every_field_of_every_record_has_a_column() -> None:
    records = {kind.record for kind in KINDS}
    assert records == {Pack, Vehicle, Controller, Run, Charge, BenchRow}
    for kind in KINDS:
        names = {field.name for field in fields(cast(Any, kind.record))}
        assert names == {column.field for column in kind.columns}


def test_files_are_as_people_would_write_them(tmp_path: Path) -> None:
    run = Run(
        pack="A",
        started_at=datetime(2025, 4, 3, 12, 30, tzinfo=UTC),
        run_s=726.0,
        before_v=(4.2, 4.19),
        used_ah=1.3,
        pack_k=298.15,
        notes="a, b",
    )
    target = tmp_path / "new" / "folder"
    paths = write_folder(Logbook(runs=(run,)), target)
    assert sorted(path.name for path in paths) == sorted(path.name for path in target.iterdir()) == FILES
    with (target / "runs.csv").open(encoding="utf-8", newline="") as file:
        row = next(csv.DictReader(file))
    assert {name: text for name, text in row.items() if text} == {
        "pack": "A",
        "started_at": "2025-04-03T12:30:00+00:00",
        "run_min": "12.1",
        "before_v": "4.2 4.19",
        "used_mah": "1300",
        "pack_c": "25",
        "notes": "a, b",
    }


def test_other_files_in_the_folder_are_left_alone_and_older_exports_replaced(tmp_path: Path) -> None:
    (tmp_path / "mine.csv").write_text("precious")
    (tmp_path / "packs.csv").write_text("older export")
    write_folder(Logbook(), tmp_path)
    assert (tmp_path / "mine.csv").read_text() == "precious"
    assert (tmp_path / "packs.csv").read_text().startswith("pack,chemistry,")
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([*FILES, "mine.csv"])


def test_a_failure_changes_nothing_and_leaves_nothing_behind(tmp_path: Path) -> None:
    (tmp_path / "packs.csv").write_text("older export")
    (tmp_path / "bench.csv").mkdir()
    with pytest.raises(InputError, match=r"bench\.csv' is a folder and cannot be replaced by a file; nothing was changed"):
        write_folder(Logbook(), tmp_path)
    assert (tmp_path / "packs.csv").read_text() == "older export"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bench.csv", "packs.csv"]


def test_places_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match=r"file' is a file; name a folder to export to\."):
        write_folder(Logbook(), tmp_path / "file")
    with pytest.raises(InputError, match=r"cannot be written \(Not a directory\); choose another folder\."):
        write_folder(Logbook(), tmp_path / "file" / "below")
    with pytest.raises(InputError, match="cannot be written"):
        write_folder(Logbook(), Path("a\0b"))


@pytest.mark.parametrize("name", [" A", "A\n", "", "A\tB"])
def test_a_name_files_cannot_carry_is_refused_not_changed(tmp_path: Path, name: str) -> None:
    pack = Pack(name=name, chemistry="lipo", series=1, capacity_ah=1.0)
    with pytest.raises(InputError, match=r"^a pack cannot be written to a file: .* Rename it, then export again\.$"):
        write_folder(Logbook(packs=(pack,)), tmp_path)
    assert list(tmp_path.iterdir()) == []
