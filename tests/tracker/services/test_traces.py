"""Recordings through the services: kept with a run, heard as evidence, taken out and brought back."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from tests.tracker.made_up_traces import DIALECTS, OHM, drive, write
from tracker.domain.controller import Vehicle
from tracker.domain.pack import Pack
from tracker.domain.planning import CutoffTask
from tracker.domain.results import Estimate
from tracker.domain.session import Charge, Run
from tracker.domain.trace import TraceReading
from tracker.errors import ConflictError, FieldErrors, ImportRefusedError, NotFoundError
from tracker.services import Services, open_services

PACK = Pack(name="Tug 1", chemistry="lipo", series=3, capacity_ah=5.0)
AT = datetime(2025, 5, 14, 13, 0, tzinfo=UTC)
PLAIN, STAMPED = DIALECTS[0], DIALECTS[4]


@pytest.fixture
def services(tmp_path: Path) -> Services:
    found = open_services(f"sqlite:///{tmp_path / 'logbook.sqlite3'}")
    found.edits.save(PACK)
    found.edits.save(Vehicle(name="Tug", usual_a=20.0))
    return found


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(drive(minutes=4.0), PLAIN, tmp_path_factory.mktemp("log") / "log 0042.csv")


def test_a_recording_makes_its_run_and_says_what_it_took(services: Services, file: Path) -> None:
    note = services.traces.keep(file, pack="Tug 1", started_at=AT, vehicle="Tug")
    assert (note.pack, note.started_at, note.rows, note.file_name) == ("Tug 1", AT, 3500, "log 0042.csv")
    assert note.stored_bytes < 8 * note.rows
    [assessed] = services.runs.assess("Tug 1")
    assert assessed.run.vehicle == "Tug"
    assert assessed.run.run_s == pytest.approx(240.0, abs=0.5)
    votes = {vote.kind: vote for vote in assessed.estimate.evidence}
    truth = services.traces.look(file).used_ah
    trace, used = votes["trace"].used_ah, assessed.estimate.used_ah
    assert isinstance(trace, Estimate)
    assert isinstance(used, Estimate)
    assert trace.value == pytest.approx(truth)
    assert used.value == pytest.approx(truth, rel=0.03)
    assert "meter" not in votes
    cell = assessed.estimate.cells[2]
    assert isinstance(cell.lowest_loaded_v, Estimate)
    assert cell.lowest_loaded_v.value == pytest.approx(float(drive(minutes=4.0).cell_v[:, 2].min()), abs=0.001)
    assert services.traces.all() == services.traces.kept("Tug 1") == (note,)


def test_it_teaches_the_resistance_of_each_cell(services: Services, tmp_path: Path) -> None:
    """Round trip: what was put into the made-up drives, at their temperature."""
    for number in range(5):
        path = write(drive(minutes=4.0, seed=number), PLAIN, tmp_path / f"{number}.csv")
        at = AT + timedelta(days=number)
        services.traces.keep(path, pack="Tug 1", started_at=at)
        services.charges.log(Charge(pack="Tug 1", finished_at=at + timedelta(hours=3), goal="full"))
    [health] = services.packs.health("Tug 1")
    found = [cell.resistance_ohm for cell in health.cells]
    assert all(isinstance(ohm, Estimate) for ohm in found)
    values = [ohm.value for ohm in found if isinstance(ohm, Estimate)]
    assert values[2] / values[0] == pytest.approx(OHM[2] / OHM[0], rel=0.12)
    assert values == pytest.approx(OHM, rel=0.3)


def test_what_was_written_down_by_hand_keeps_its_say(services: Services, file: Path) -> None:
    run = Run(pack="Tug 1", started_at=AT, run_s=250.0, used_ah=1.9, after_v=(11.1,), rest_after_s=900.0, loaded_v=(10.4,))
    services.runs.log(run)
    services.traces.keep(file, pack="Tug 1", started_at=AT)
    [assessed] = services.runs.assess("Tug 1")
    assert assessed.run == run
    kinds = {vote.kind for vote in assessed.estimate.evidence}
    assert {"trace", "meter", "rest_voltage"} <= kinds
    services.traces.remove("Tug 1", AT)
    [without] = services.runs.assess("Tug 1")
    assert without.run == run
    assert "trace" not in {vote.kind for vote in without.estimate.evidence}
    with pytest.raises(NotFoundError):
        services.traces.remove("Tug 1", AT)


def test_the_same_again_changes_nothing_and_another_needs_leave(services: Services, file: Path, tmp_path: Path) -> None:
    note = services.traces.keep(file, pack="Tug 1", started_at=AT)
    assert services.traces.keep(file, pack="Tug 1", started_at=AT) == note
    other = write(drive(minutes=2.0, seed=9), PLAIN, tmp_path / "other.csv")
    with pytest.raises(ConflictError, match="another recording"):
        services.traces.keep(other, pack="Tug 1", started_at=AT)
    assert services.traces.all() == (note,)
    assert services.traces.keep(other, pack="Tug 1", started_at=AT, replace=True).rows == 2300


def test_what_does_not_fit_is_refused_and_nothing_is_kept(services: Services, file: Path, tmp_path: Path) -> None:
    services.edits.save(Pack(name="Two", chemistry="lipo", series=2, capacity_ah=5.0))
    with pytest.raises(FieldErrors, match="pack: is missing"):
        services.traces.keep(file)
    with pytest.raises(FieldErrors, match="has 3 cells, but pack 'Two' has 2"):
        services.traces.keep(file, pack="Two", started_at=AT)
    with pytest.raises(NotFoundError, match="Tug 2"):
        services.traces.keep(file, pack="Tug 2", started_at=AT)
    with pytest.raises(FieldErrors, match="vehicle"):
        services.traces.keep(file, pack="Tug 1", started_at=AT, vehicle="Boat")
    with pytest.raises(FieldErrors, match="still to come"):
        services.traces.keep(file, pack="Tug 1", started_at=datetime(2150, 1, 1, tzinfo=UTC))
    (tmp_path / "bad.csv").write_text("time_s,volts,amps\n0,11,1\n1,11,x\n", "utf-8")
    with pytest.raises(ImportRefusedError):
        services.traces.keep(tmp_path / "bad.csv", pack="Tug 1", started_at=AT)
    assert services.traces.all() == ()
    assert services.runs.assess() == ()


def test_a_run_that_overlaps_the_files_own_time_is_named(services: Services, tmp_path: Path) -> None:
    stamped = write(drive(minutes=2.0), STAMPED, tmp_path / "stamped.csv")
    began = services.traces.look(stamped).started_at
    assert began is not None
    written = began - timedelta(minutes=1)
    services.runs.log(Run(pack="Tug 1", started_at=written, run_s=300.0))
    with pytest.raises(FieldErrors, match=r"give 2025-05-14T.* to keep the recording with that run"):
        services.traces.keep(stamped, pack="Tug 1")
    assert services.traces.keep(stamped, pack="Tug 1", started_at=written).started_at == written


def test_export_and_import_bring_every_recording_back(services: Services, file: Path, tmp_path: Path) -> None:
    """Round trip, to the last digit; the same again changes nothing, another needs leave."""
    services.traces.keep(file, pack="Tug 1", started_at=AT, vehicle="Tug")
    services.edits.save(replace(PACK, name='=HYPERLINK("a;b,c")'))
    services.traces.keep(file, pack='=HYPERLINK("a;b,c")', started_at=AT, reading=TraceReading(discharge="positive"))
    folder = tmp_path / "out"
    written = services.exchange.export(folder)
    assert sum(path.name.startswith("trace_") for path in written) == 2
    with open_services(f"sqlite:///{tmp_path / 'other.sqlite3'}") as other:
        report = other.exchange.import_files([folder])
        assert report.added["recordings"] == 2
        for note in services.traces.all():
            mine, theirs = (each.traces.get(note.pack, note.started_at) for each in (services, other))
            assert replace(mine, file_name="") == replace(theirs, file_name="")
        again = other.exchange.import_files([folder])
        assert (again.added["recordings"], again.unchanged["recordings"]) == (0, 2)
        changed = next(path for path in written if path.name.startswith("trace_Tug"))
        lines = changed.read_text("utf-8").splitlines(keepends=True)
        changed.write_text("".join(lines[:-5]), "utf-8")
        with pytest.raises(ImportRefusedError, match="another recording of this run is stored"):
            other.exchange.import_files([folder])
        assert other.exchange.import_files([folder], update=True).updated["recordings"] == 1


def test_one_bad_recording_among_files_and_nothing_is_stored(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "packs.csv").write_text("pack,chemistry,series,capacity_mah\nTug 1,lipo,3,5000\n", "utf-8")
    (folder / "t.csv").write_text(
        "pack,started_at,time_s,volts,amps\nTug 1,2025-05-14T13:00Z,0,11,1\nTug 1,2025-05-14T13:00Z,1,eleven,1\n", "utf-8"
    )
    with open_services("sqlite:///:memory:") as empty:
        with pytest.raises(ImportRefusedError, match=r"t.csv:3: volts: 'eleven'"):
            empty.exchange.import_files([folder])
        assert empty.packs.all() == ()
        (folder / "t.csv").write_text("time_s,volts,amps\n0,11,1\n1,10,20\n", "utf-8")
        with pytest.raises(ImportRefusedError, match="--pack"):
            empty.exchange.import_files([folder])


def test_removing_a_run_takes_its_recording_and_undoing_brings_it_back(services: Services, file: Path) -> None:
    services.traces.keep(file, pack="Tug 1", started_at=AT)
    whole = services.traces.get("Tug 1", AT)
    before = services.runs.assess("Tug 1")
    removed = services.edits.remove("run", ("Tug 1", AT))
    assert services.traces.all() == ()
    services.edits.undo(removed.id)
    assert services.traces.get("Tug 1", AT) == whole
    assert services.runs.assess("Tug 1") == before
    removed = services.edits.remove("pack", "Tug 1")
    services.edits.undo(removed.id)
    assert services.traces.get("Tug 1", AT) == whole


def test_a_run_whose_time_is_corrected_keeps_its_recording(services: Services, file: Path) -> None:
    services.traces.keep(file, pack="Tug 1", started_at=AT)
    later = AT + timedelta(minutes=7)
    run = next(each.run for each in services.runs.assess("Tug 1"))
    services.edits.save(replace(run, started_at=later), replacing=("Tug 1", AT))
    assert [note.started_at for note in services.traces.all()] == [later]
    [assessed] = services.runs.assess("Tug 1")
    assert "trace" in {vote.kind for vote in assessed.estimate.evidence}


def test_what_is_looked_at_is_thin_and_keeps_the_sags(services: Services, file: Path) -> None:
    services.traces.keep(file, pack="Tug 1", started_at=AT)
    whole, thin = services.traces.get("Tug 1", AT), services.traces.thinned("Tug 1", AT, points=300)
    assert len(thin.time_s) <= 302
    assert thin.cell_v.shape == (len(thin.time_s), 3)
    assert np.nanmin(thin.cell_v) == np.nanmin(whole.cell_v)
    part = services.traces.thinned("Tug 1", AT, low_s=50.0, high_s=60.0)
    assert part.time_s[0] >= 50.0
    assert part.time_s[-1] <= 60.0


def test_a_cutoff_is_planned_with_the_recorded_load(services: Services, file: Path) -> None:
    """The shape is the recording's, on whichever pack it was driven; what a person types wins."""
    services.edits.save(replace(PACK, name="Tug 2"))
    guess = services.planning.cutoff(CutoffTask(pack="Tug 2", vehicle="Tug"))
    assert guess.load.shape_s == ()
    services.traces.keep(file, pack="Tug 1", started_at=AT, vehicle="Tug")
    plan = services.planning.cutoff(CutoffTask(pack="Tug 2", vehicle="Tug"))
    mean, burst = plan.load.mean_a, plan.load.burst_a
    assert isinstance(mean, Estimate)
    assert isinstance(burst, Estimate)
    assert plan.load.basis == "a recording of Tug"
    assert mean.value == pytest.approx(services.traces.look(file).used_ah * 3600.0 / 240.0, rel=0.02)
    assert 1.5 < burst.value / mean.value < 2.1
    assert 20 < len(plan.load.shape_s) <= 200
    assert plan.recommended is not None
    typed = services.planning.cutoff(CutoffTask(pack="Tug 2", vehicle="Tug", mean_a=8.0, burst_a=30.0))
    assert (
        (typed.load.mean_a.value, typed.load.burst_a.value) == (8.0, 30.0)
        if isinstance(typed.load.mean_a, Estimate) and isinstance(typed.load.burst_a, Estimate)
        else False
    )
    assert typed.load.basis == "the mean current typed in, its ups and downs from a recording of Tug"
