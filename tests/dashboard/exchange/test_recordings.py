"""Recordings through the doors: looked at, read otherwise, kept with their run, shown with it, taken out and removed."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from urllib.parse import quote, urlencode

import pytest

from dashboard.addresses import pack_address
from tests.dashboard.exchange.conftest import Door, token
from tests.dashboard.exchange.test_taking_out import unpacked
from tests.tracker.made_up_traces import START, drive
from tracker.domain.controller import Vehicle
from tracker.domain.pack import Pack
from tracker.domain.session import Run
from tracker.domain.trace import Trace
from tracker.services import open_services

KNOWN = "Time,Voltage [V],Current [A],Cell 1 [V],Cell 2 [V],Cell 3 [V]"
UNKNOWN = "when,ch1,ch2,c_a,c_b,c_c"
NAMED = {"col.time": "when", "col.volts": "ch1", "col.amps": "ch2", "col.cell_1": "c_a", "col.cell_2": "c_b", "col.cell_3": "c_c"}


def logged(trace: Trace, header: str = KNOWN) -> str:
    """A logger's file."""
    rows = (
        f"{(trace.started_at + timedelta(seconds=float(at))).isoformat(timespec='milliseconds')},{volts:.3f},{amps:.2f},{cells[0]:.3f},{cells[1]:.3f},{cells[2]:.3f}"
        for at, volts, amps, cells in zip(trace.time_s, trace.pack_v, trace.current_a, trace.cell_v, strict=True)
    )
    return "\n".join([header, *rows, ""])


TRACE = drive(minutes=1.0, rest_after_s=20.0)
FILE = logged(TRACE)


@pytest.fixture
def bench(door: Door) -> Door:
    """Two packs, a model, and a run that was written down two minutes before the logger began."""
    for record in (
        Pack(name="Tug 1", chemistry="lipo", series=3, capacity_ah=5.0),
        Pack(name="Other", chemistry="lipo", series=2, capacity_ah=5.0),
        Vehicle(name="Pond tug"),
        Run(pack="Tug 1", started_at=START - timedelta(minutes=2), run_s=100.0),
        Run(pack="Tug 1", started_at=START - timedelta(days=9), run_s=100.0),
    ):
        door.services.edits.save(record)
    return door


def keep(door: Door, address: str, run: str, number: int = 0, query: dict[str, str] | None = None, **fields: str) -> str:
    """Ask for a recording to be kept; the page that says what came of it."""
    asked = urlencode({"pack": "Tug 1"} | (query or {}), quote_via=quote)
    answer = door.post(f"/data/files/{token(address)}/recordings/{number}?{asked}", run=run, **fields)
    if answer.status_code != 303:
        return str(answer.text)
    return door.shown(answer.headers["Location"])


def test_a_logger_s_file_is_looked_at_and_kept_with_the_run_of_its_time(bench: Door) -> None:
    address = bench.send(("log.csv", FILE))
    assert "log.csv" in bench.shown(address)
    text = bench.shown(f"{address}&recording=0&pack=Tug%201")
    for said in ("1,000", "Voltage [V]", "Cell 3 [V]", "time stamps", "the file begins 2\\xa0min later", "a run of its own"):
        assert said in text, said
    assert text.index("2\\xa0min later") < text.index("9\\xa0days later")
    assert bench.services.traces.all() == ()
    run = START - timedelta(minutes=2)
    assert "Kept" in keep(bench, address, run.isoformat())
    [note] = bench.services.traces.all()
    assert (note.pack, note.started_at, note.rows, note.file_name) == ("Tug 1", run, 1000, "log.csv")
    assert bench.runs() == 2
    shown = bench.shown(pack_address("Tug 1", run))
    for said in ("As recorded", "Cell 3 was lowest", "run-recording", "Closer"):
        assert said in shown
    assert "As recorded" not in bench.shown(pack_address("Tug 1", START - timedelta(days=9)))


def test_a_run_is_made_where_there_is_none(bench: Door) -> None:
    address = bench.send(("log.csv", FILE))
    assert "write it as 2026-05-02T14:30:00" in keep(bench, address, "new", started_at="yesterday")
    assert "write it as 2026-05-02T14:30:00" in keep(bench, address, "new", started_at="0001-01-01T00:00:00+14:00")
    local = START.astimezone().replace(tzinfo=None).isoformat()
    assert "Kept" in keep(bench, address, "new", started_at=local, vehicle="Pond tug")
    [made] = [each.run for each in bench.services.runs.assess("Tug 1") if each.run.started_at == START]
    assert made.vehicle == "Pond tug"
    assert made.run_s == pytest.approx(60.0, abs=4.0)


def test_columns_nobody_knows_are_named_by_hand(bench: Door) -> None:
    address = bench.send(("odd.csv", logged(TRACE, UNKNOWN)))
    text = bench.shown(f"{address}&recording=0")
    assert "Say which column is time, voltage and current" in text
    assert "c_b" in text
    text = bench.shown(f"{address}&recording=0&pack=Tug%201&{urlencode(NAMED)}")
    assert "Keep this recording" in text
    assert "Kept" in keep(bench, address, "new", query=NAMED, started_at=START.isoformat())
    assert bench.services.traces.thinned("Tug 1", START, points=10_000).cell_v.shape == (1000, 3)


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ({"unit.volts": "<script>"}, "is no unit of volts"),
        ({"discharge": "sideways"}, "allowed are positive and negative"),
        ({"col.volts": "<b>not there</b>"}, "not there"),
        ({"col.cell_9": "Time"}, "none left out"),
        ({"col.amps": "Time"}, "cannot be read like this"),
    ],
)
def test_what_cannot_be_read_so_is_told_with_a_way_back(bench: Door, query: dict[str, str], says: str) -> None:
    address = bench.send(("log.csv", FILE))
    text = bench.shown(f"{address}&recording=0&{urlencode(query)}")
    assert says in text
    assert "Look again, as found out by itself" in text
    assert "pack-tracker-sent" not in text
    assert "Kept" not in keep(bench, address, START.isoformat(), query=query)
    assert bench.services.traces.all() == ()


@pytest.mark.parametrize("place", ["1", "-1", "x", "9999999999", "%C2%B2"])
def test_a_recording_that_is_not_there(bench: Door, place: str) -> None:
    address = bench.send(("log.csv", FILE))
    bench.settle()
    assert "no such recording" in bench.shown(f"{address}&recording={place}")
    assert bench.post(f"/data/files/{token(address)}/recordings/7?pack=Tug%201", run="new", started_at=START.isoformat()).status_code == 400


def test_a_recording_must_fit_its_pack_and_its_run(bench: Door) -> None:
    address = bench.send(("log.csv", FILE))
    assert "Choose the pack first" in keep(bench, address, START.isoformat(), query={"pack": ""})
    assert "Choose the run first" in keep(bench, address, "")
    assert "has 2 in series" in keep(bench, address, START.isoformat(), query={"pack": "Other"})
    assert "is not known" in keep(bench, address, START.isoformat(), query={"pack": "<i>nobody</i>"})
    assert "Kept" in keep(bench, address, START.isoformat())
    other = bench.send(("other.csv", logged(drive(minutes=1.0, seed=4, rest_after_s=20.0))))
    assert "another recording" in keep(bench, other, START.isoformat())
    assert "has a recording" in bench.shown(f"{other}&recording=0&pack=Tug%201")
    assert "Kept" in keep(bench, other, START.isoformat(), replace="yes")
    assert [note.file_name for note in bench.services.traces.all()] == ["other.csv"]


def test_logbook_files_and_recordings_come_together_and_go_out_together(door: Door, tmp_path: Path) -> None:
    packs = "pack,chemistry,series,capacity_mah\nTug 1,lipo,3,5000\n"
    address = door.send(("packs.csv", packs), ("log.csv", FILE))
    text = door.shown(address)
    assert "1 record would be added" in text
    assert "choose its run" in text
    door.store(address)
    assert "choose its run" in door.shown(address)
    assert "Kept" in keep(door, address, "new", started_at=START.isoformat())
    assert "log.csv" in door.shown(address)
    files = unpacked(door.client.get("/data/export").data)
    with open_services(f"sqlite:///{tmp_path / 'other.sqlite3'}") as services:
        other = Door(services)
        other.store(other.send(*files))
        assert services.traces.get("Tug 1", START).pack_v.tolist() == door.services.traces.get("Tug 1", START).pack_v.tolist()
        assert services.runs.assess() == door.services.runs.assess()


def test_a_recording_is_removed_and_its_run_stays(bench: Door) -> None:
    address = bench.send(("log.csv", FILE))
    keep(bench, address, START.isoformat())
    text = bench.shown("/data")
    assert "Remove for good" in text
    place = urlencode({"pack": "Tug 1", "at": START.isoformat()}, quote_via=quote)
    assert place in text
    assert bench.post(f"/data/recordings/remove?{place}").headers["Location"] == "/data#recordings"
    assert bench.services.traces.all() == ()
    assert bench.runs() == 3
    assert bench.post(f"/data/recordings/remove?{place}").status_code == 400
    assert bench.post("/data/recordings/remove").status_code == 400
