"""Limits: whole folders, all or nothing, records that contradict each other, places."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.tracker.intake.conftest import Complaints, Reader
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.session import BenchReading, BenchTest, Charge, Run
from tracker.errors import ImportRefusedError
from tracker.intake.logbook import Place, key_of, read_files

PACKS = "pack,chemistry,series,capacity_mah\nA,lipo,3,2200\nB,life,2,1300\n"
RUNS = "pack,started_at,run_min,before_v,after_v,loaded_v\nA,2025-01-01T10:00Z,10,12.5,3.7 3.7 3.6,\n"
CHARGES = "pack,finished_at,end_v,cell_mohm\nB,2025-01-01T10:00Z,3.6 3.6,8 9\n"


def put(folder: Path, **files: str) -> Path:
    folder.mkdir(exist_ok=True)
    for name, content in files.items():
        (folder / f"{name}.csv").write_text(content, "utf-8")
    return folder


def complaints_of(*paths: Path) -> list[str]:
    with pytest.raises(ImportRefusedError) as caught:
        read_files(paths)
    return [f"{Path(row.file).name}:{row.line}: {row.column}: {row.message}" for row in caught.value.rows]


def test_units_and_every_field(read: Reader) -> None:
    run = read(
        "pack,vehicle,started_at,run_min,rest_before_min,before_v,loaded_v,loaded_a,mean_a,used_mah,after_v,rest_after_min,cutoff_v,pack_c,ended_by,notes\n"
        "A,tug,2025-04-03T14:30+02:00,12.5,60,12.6,3.3 3.2 3.4,25,8.5,1750,11.1,20,9.6 9.0,-5,cutoff,cold\n"
    ).logbook.runs[0]
    assert run == Run(
        pack="A",
        vehicle="tug",
        started_at=datetime(2025, 4, 3, 12, 30, tzinfo=UTC),
        run_s=750.0,
        rest_before_s=3600.0,
        before_v=(12.6,),
        loaded_v=(3.3, 3.2, 3.4),
        loaded_a=25.0,
        mean_a=8.5,
        used_ah=1.75,
        after_v=(11.1,),
        rest_after_s=1200.0,
        cutoff_v=(9.6, 9.0),
        pack_k=268.15,
        ended_by="cutoff",
        notes="cold",
    )


def test_the_other_kinds(read: Reader) -> None:
    assert read("controller,cutoff_mode,cutoff_v,load_share,powers_receiver\nleft,pack_v,6.4,0.5,Yes\n").logbook.controllers == (
        Controller(name="left", cutoff_mode="pack_v", cutoff_v=6.4, load_share=0.5, powers_receiver=True),
    )
    assert read("vehicle,controllers,lead_mohm\ngroomer,left right,3.5\n").logbook.vehicles == (
        Vehicle(name="groomer", controllers=("left", "right"), lead_ohm=0.0035),
    )
    assert read("pack,finished_at,put_back_mah,goal,cell_mohm,pack_c\nA,2025-04-03T12:30Z,800,full,3.5 4,20\n").logbook.charges == (
        Charge(
            pack="A",
            finished_at=datetime(2025, 4, 3, 12, 30, tzinfo=UTC),
            put_back_ah=0.8,
            goal="full",
            cell_ohm=(0.0035, 0.004),
            pack_k=293.15,
        ),
    )


def test_bench_rows_of_one_controller_and_time_are_one_test_in_the_order_taken(read: Reader) -> None:
    intake = read(
        "controller,tested_at,supply_v,motor\nleft,2025-04-03T12:30Z,7,running\nright,2025-04-03T12:30Z,7,running\n"
        "left,2025-04-03T14:30+02:00,6.4,stopped\nleft,2025-04-03T12:31Z,7,running\nleft,2025-04-03T12:30Z,7,running\n"
    )
    time = datetime(2025, 4, 3, 12, 30, tzinfo=UTC)
    on, off = BenchReading(supply_v=7.0, running=True), BenchReading(supply_v=6.4, running=False)
    assert intake.logbook.bench_tests[0] == BenchTest(controller="left", tested_at=time, readings=(on, off, on))
    assert [(test.controller, len(test.readings)) for test in intake.logbook.bench_tests] == [("left", 3), ("right", 1), ("left", 1)]
    assert intake.places[key_of("bench", intake.logbook.bench_tests[1])].line == 3


def test_a_folder_is_read_whole_in_the_order_of_its_names(tmp_path: Path) -> None:
    folder = put(tmp_path / "club", packs=PACKS, runs=RUNS, charges=CHARGES)
    (folder / "readme.md").write_text("x")
    (folder / ".hidden").write_text("x")
    (folder / "old").mkdir()
    (folder / "packs.csv").rename(folder / "PACKS.CSV")
    told: list[tuple[str, int, int | None]] = []
    intake = read_files([folder], lambda *news: told.append(news))
    assert [pack.name for pack in intake.logbook.packs] == ["A", "B"]
    assert intake.warnings == (f"{folder}: not read, as only files ending in .csv are: 'old', 'readme.md'.",)
    assert intake.places["run", "A", "2025-01-01T10:00:00+00:00"] == Place(str(folder / "runs.csv"), 2)
    assert intake.places[key_of("charges", intake.logbook.charges[0])] == Place(str(folder / "charges.csv"), 2)
    assert told == [("reading PACKS.CSV, rows", 2, None), ("reading charges.csv, rows", 1, None), ("reading runs.csv, rows", 1, None)]


def test_one_file_named_twice_is_read_once(tmp_path: Path) -> None:
    folder = put(tmp_path / "club", packs=PACKS)
    bench = "controller,tested_at,supply_v,motor\nleft,2025-04-03T12:30Z,7,running\n"
    put(folder, bench=bench)
    assert len(read_files([folder, folder / "bench.csv", folder]).logbook.bench_tests[0].readings) == 1


def test_paths_that_lead_nowhere(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    os.mkfifo(tmp_path / "pipe.csv")
    assert complaints_of(tmp_path / "none.csv", tmp_path / "empty", tmp_path / "pipe.csv", Path("\0"), tmp_path / ("x" * 5000)) == [
        "none.csv:1: file: is not there; check the path.",
        "empty:1: file: is a folder without any CSV file; name a folder that holds files ending in .csv.",
        "pipe.csv:1: file: is not an ordinary file; name a CSV file or a folder of them.",
        "\0:1: file: is not there; check the path.",
        f"{'x' * 5000}:1: file: cannot be looked at (File name too long); check the path.",
    ]


def test_one_bad_row_refuses_all_files(tmp_path: Path) -> None:
    folder = put(tmp_path / "club", packs=PACKS, runs=RUNS.replace(",10,", ",0,"), charges=CHARGES.replace("8 9", "8 x"))
    assert complaints_of(folder) == [
        "charges.csv:2: cell_mohm: 'x' is not a number; allowed are numbers above 0 up to 100000 mΩ.",
        "runs.csv:2: run_min: '0' is out of range; allowed are numbers above 0 up to 100000 min.",
    ]


def test_fifty_are_listed_and_the_rest_counted(tmp_path: Path) -> None:
    rows = "".join(f"A{number},soap,x,y\n" for number in range(30))
    with pytest.raises(ImportRefusedError) as caught:
        read_files([put(tmp_path / "club", a="pack,chemistry,series,capacity_mah\n" + rows)])
    # Three bad cells a row up to the fiftieth, which is in row 17; from then on one a row.
    assert (len(caught.value.rows), caught.value.more) == (50, 13)
    assert str(caught.value).endswith("… and 13 more")


def test_the_same_row_again_is_one(tmp_path: Path) -> None:
    folder = put(tmp_path / "club", a=PACKS, b=PACKS + "A,LiPo,3.0,2.2e3\n", c=RUNS, d=RUNS.replace("T10:00Z", "T11:00+01:00"))
    logbook = read_files([folder]).logbook
    assert len(logbook.packs) == 2
    assert len(logbook.runs) == 1


def test_the_same_key_with_other_content_is_refused(tmp_path: Path) -> None:
    bench = "controller,tested_at,supply_v,motor\nleft,2025-04-03T12:30Z,7,running\n"
    folder = put(
        tmp_path / "club",
        a=PACKS + "A,lipo,4,3300\n",
        b=RUNS,
        c=RUNS.replace(",10,", ",11,"),
        d=bench,
        e=bench.replace("running", "stopped"),
    )
    assert complaints_of(folder) == [
        f"a.csv:4: pack: a pack of that name stands at {folder}/a.csv:2 with other series, capacity_mah; keep one of the two.",
        f"c.csv:2: pack: a run of pack 'A' at this time stands at {folder}/b.csv:2 with other run_min; keep one of the two.",
        f"e.csv:2: controller: a bench test of that controller at this time stands at {folder}/d.csv:2 with other readings; keep one of the two.",
    ]


def test_lists_are_held_against_the_packs_in_the_same_files(tmp_path: Path) -> None:
    runs = RUNS + "A,2025-01-02T10:00Z,10,,3.7 3.7,\nB,2025-01-02T10:00Z,10,3.3 3.3 3.3,,3.0\nC,2025-01-02T10:00Z,10,3.3 3.3 3.3,,3.0\n"
    charges = CHARGES + "B,2025-01-02T10:00Z,3.6 3.6 3.6,8\n"
    assert complaints_of(put(tmp_path / "club", packs=PACKS, runs=runs, charges=charges)) == [
        "charges.csv:3: end_v: 3 numbers are given, but pack 'B' has 2 in series; allowed is 1 (the pack's total) or 2 (each cell).",
        "charges.csv:3: cell_mohm: 1 number is given, but pack 'B' has 2 in series; allowed is 2, one for each cell.",
        "runs.csv:3: after_v: 2 numbers are given, but pack 'A' has 3 in series; allowed is 1 (the pack's total) or 3 (each cell).",
        "runs.csv:4: before_v: 3 numbers are given, but pack 'B' has 2 in series; allowed is 1 (the pack's total) or 2 (each cell).",
    ]


def test_a_cell_cannot_have_more_than_five_volts_but_may_be_hard_to_believe(complaints: Complaints, read: Reader) -> None:
    assert read(RUNS.replace("3.7 3.7 3.6", "0.2 5 3.6")).logbook.runs[0].after_v == (0.2, 5.0, 3.6)
    assert complaints(RUNS.replace("3.7 3.7 3.6", "37 3.7 3.6")) == [
        (
            "2: after_v: '37' is out of range for one cell; several numbers are the cells one by one, "
            "and for each allowed are numbers above 0 up to 5 V; the pack's total is one number alone."
        )
    ]


def test_a_list_has_at_most_a_hundred_numbers(complaints: Complaints) -> None:
    assert complaints(RUNS.replace("12.5", "3.7 " * 101)) == ["2: before_v: 101 numbers are given; allowed are up to 100."]


def test_a_pack_cannot_retire_before_it_is_acquired(complaints: Complaints, read: Reader) -> None:
    content = "pack,chemistry,series,capacity_mah,acquired_on,retired_on\nA,lipo,3,2200,2025-04-03,2025-04-02\n"
    assert complaints(content) == [
        "2: retired_on: '2025-04-02' is before acquired_on '2025-04-03'; allowed is the same day or a later one."
    ]
    assert len(read(content.replace("04-02", "04-03")).logbook.packs) == 1


def test_a_cutoff_for_one_cell_is_held_to_one_cell(complaints: Complaints) -> None:
    content = "controller,cutoff_mode,cutoff_v,restart_v\nleft,cell_v,6.4,7\nright,pack_v,6.4,7\n"
    assert complaints(content) == [
        "2: cutoff_v: '6.4' is too high for one cell; with cutoff_mode cell_v allowed are numbers above 0 up to 5 V.",
        "2: restart_v: '7' is too high for one cell; with cutoff_mode cell_v allowed are numbers above 0 up to 5 V.",
    ]
