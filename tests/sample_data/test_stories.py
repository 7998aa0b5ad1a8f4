"""Every story stands in the rows a person would bring in, and the healthy packs tell none."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from itertools import pairwise
from statistics import mean

import pytest

from sample_data.season import RunTruth, Season
from tests.sample_data.conftest import Rows
from tracker.chemistry import load

Row = dict[str, str]


def of(rows: Iterable[Row], pack: str) -> list[Row]:
    return [row for row in rows if row["pack"] == pack]


def on(rows: Iterable[Row], pack: str, day: str) -> Row:
    key = "started_at" if "run_min" in next(iter(of(rows, pack))) else "finished_at"
    (row,) = [row for row in of(rows, pack) if row[key].startswith(day)]
    return row


def volts(text: str) -> list[float]:
    return [float(part) for part in text.split()]


def truths(season: Season, pack: str) -> list[RunTruth]:
    return [truth for truth in season.truth if truth.pack == pack]


def test_a_nickel_cutoff_ruins_groomer_a(rows: Rows, season: Season) -> None:
    left = next(row for row in rows["controllers"] if row["controller"] == "left-track")
    assert float(left["cutoff_v"]) == 5.0
    deep = [row for row in of(rows["runs"], "Groomer A") if row["cutoff_v"] == "5.0 6.4" and row["ended_by"] == "cutoff"]
    assert len(deep) >= 6
    measured = [float(row["loaded_v"]) for row in deep if row["loaded_v"]]
    assert len(measured) >= 3
    assert max(measured) < 5.3
    driven = [truth for truth in truths(season, "Groomer A") if truth.started_at >= datetime(2026, 9, 19)]  # noqa: DTZ001
    assert all(truth.lowest_loaded_v.min() < load("lipo")["floor_v"] - 0.3 for truth in driven)
    assert driven[-1].capacity_ah.min() < 0.85 * driven[0].capacity_ah.min()
    counted = [
        float(row["put_back_mah"]) for row in of(rows["charges"], "Groomer A") if row["finished_at"] > "2026-09-19" and row["put_back_mah"]
    ]
    assert counted[-1] < 0.93 * counted[0]


def test_a_cell_of_groomer_a_rests_under_two_volts_at_the_end_only(rows: Rows) -> None:
    readings = [volts(row["after_v"]) for row in of(rows["runs"], "Groomer A") if row["after_v"]]
    assert readings[-1][0] < 2.0
    assert min(min(reading) for reading in readings[:-1]) > 2.0
    assert of(rows["charges"], "Groomer A")[-1]["finished_at"] < of(rows["runs"], "Groomer A")[-1]["started_at"]


def test_cell_2_of_crawler_a_is_weak(rows: Rows, season: Season) -> None:
    capacity_ah = truths(season, "Crawler A")[0].capacity_ah
    assert 0.12 <= 1.0 - capacity_ah[1] / mean((capacity_ah[0], capacity_ah[2])) <= 0.15
    readings = [volts(row["after_v"]) for row in of(rows["runs"], "Crawler A") if row["after_v"]]
    assert len(readings) >= 15
    assert all(reading[1] < min(reading[0], reading[2]) for reading in readings)


def test_cell_3_of_hauler_a_falls_behind_between_runs_without_a_charge(rows: Rows) -> None:
    runs = of(rows["runs"], "Hauler A")
    charged = [row["finished_at"] for row in of(rows["charges"], "Hauler A")]
    falls = []
    for earlier, later in pairwise(runs):
        if not earlier["after_v"] or not later["before_v"] or any(earlier["started_at"] < at < later["started_at"] for at in charged):
            continue
        lost = [before - after for before, after in zip(volts(earlier["after_v"]), volts(later["before_v"]), strict=True)]
        falls.append(lost[2] - mean(lost[:2]))
    assert len(falls) >= 8
    assert min(falls) > 0.03


def test_buggy_b_stood_full_for_seven_weeks_and_holds_less_since(rows: Rows) -> None:
    runs, charges = of(rows["runs"], "Buggy B"), of(rows["charges"], "Buggy B")
    full = next(row for row in charges if row["finished_at"].startswith("2026-07-11"))
    following = next(row for row in runs if row["started_at"] > full["finished_at"])
    stood = datetime.fromisoformat(following["started_at"]) - datetime.fromisoformat(full["finished_at"])
    assert full["goal"] == "full"
    assert stood.days >= 45
    per_cell = [row for row in charges if row["cell_mohm"]]
    earlier = mean(mean(volts(row["cell_mohm"])) for row in per_cell if row["finished_at"] < "2026-07-11")
    since = mean(mean(volts(row["cell_mohm"])) for row in per_cell if row["finished_at"] > "2026-08-30")
    assert since > 1.07 * earlier


def test_buggy_b_lost_capacity_while_it_stood(season: Season) -> None:
    june = next(truth for truth in truths(season, "Buggy B") if truth.started_at >= datetime(2026, 6, 28))  # noqa: DTZ001
    august = next(truth for truth in truths(season, "Buggy B") if truth.started_at >= datetime(2026, 8, 30))  # noqa: DTZ001
    assert (august.capacity_ah < 0.95 * june.capacity_ah).all()


def test_groomer_b_stands_full_now(rows: Rows) -> None:
    last = of(rows["charges"], "Groomer B")[-1]
    assert last["goal"] == "full"
    assert last["finished_at"] > of(rows["runs"], "Groomer B")[-1]["started_at"]
    end = datetime.fromisoformat(max(row["finished_at"] for row in rows["charges"]))
    assert (end - datetime.fromisoformat(last["finished_at"])).days >= 5


def test_the_box_at_the_end_holds_every_state(rows: Rows) -> None:
    warm = of(rows["runs"], "Buggy A")[-1]
    assert warm["started_at"].startswith("2026-11-22")
    assert float(warm["rest_after_min"]) < 10
    stored = of(rows["charges"], "Crawler B")[-1]
    assert stored["goal"] == "storage"
    assert stored["finished_at"] > of(rows["runs"], "Crawler B")[-1]["started_at"]
    empty = of(rows["runs"], "Crawler A")[-1]
    assert empty["started_at"] > of(rows["charges"], "Crawler A")[-1]["finished_at"]
    assert of(rows["charges"], "Hauler B")[-1]["finished_at"].startswith("2026-11-22")
    assert [row["pack"] for row in rows["packs"] if row["retired_on"]] == ["Launch B"]


def test_two_digits_changed_over(rows: Rows, season: Season) -> None:
    written = volts(on(rows["runs"], "Buggy C", "2026-05-10")["after_v"])
    truth = next(truth for truth in truths(season, "Buggy C") if f"{truth.started_at:%Y-%m-%d}" == "2026-05-10")
    typical = mean(volts(row["after_v"])[0] for row in of(rows["runs"], "Buggy C") if len(row["after_v"].split()) == 1)
    assert len(written) == 1
    assert written[0] < typical - 0.2
    assert truth.soc_after.min() > 0.3


def test_a_cell_voltage_written_as_the_total(rows: Rows) -> None:
    written = volts(on(rows["runs"], "Crawler B", "2026-05-31")["after_v"])
    assert len(written) == 1
    assert 3.0 < written[0] < 4.2


def test_one_cell_mistyped(rows: Rows) -> None:
    first, second, third = volts(on(rows["runs"], "Crawler B", "2026-08-02")["after_v"])
    assert abs(first - third) < 0.05
    assert second < first - 0.3


def test_a_run_under_the_wrong_day_comes_before_its_charge(rows: Rows, season: Season) -> None:
    (truth,) = [truth for truth in season.truth if f"{truth.started_at:%Y-%m-%dT%H:%M}" != truth.written_at]
    run = next(row for row in of(rows["runs"], truth.pack) if row["started_at"] == truth.written_at)
    charge = next(row for row in of(rows["charges"], truth.pack) if row["finished_at"] > run["started_at"])
    assert charge["finished_at"] < f"{truth.started_at:%Y-%m-%dT%H:%M}"


@pytest.mark.parametrize("pack", ["Groomer A", "Groomer B"])
def test_the_winter_day_stops_the_groomer_early(pack: str, rows: Rows, season: Season) -> None:
    run = on(rows["runs"], pack, "2026-01-17")
    assert float(run["pack_c"]) < 0
    assert run["ended_by"] == "cutoff"
    assert run["cutoff_v"] == "6.4 6.4"
    assert float(run["loaded_v"]) < 6.8
    assert min(volts(run["after_v"])) > 3.75
    truth = next(truth for truth in truths(season, pack) if f"{truth.started_at:%Y-%m-%d}" == "2026-01-17")
    assert truth.soc_after.min() > 0.45


def test_one_charge_below_freezing(rows: Rows) -> None:
    cold = [row for row in rows["charges"] if row["pack_c"] and float(row["pack_c"]) < 0]
    assert [(row["pack"], row["finished_at"][:10]) for row in cold] == [("Crawler B", "2026-01-24")]


def test_one_charge_over_the_limit(rows: Rows) -> None:
    chemistry = {row["pack"]: load(row["chemistry"]) for row in rows["packs"]}
    series = {row["pack"]: int(row["series"]) for row in rows["packs"]}
    over = []
    for row in rows["charges"]:
        read = volts(row["end_v"])
        limit_v = chemistry[row["pack"]]["full_v"] * (series[row["pack"]] if len(read) == 1 else 1)
        if read and max(read) > limit_v + 0.02:
            over.append((row["pack"], row["finished_at"][:10]))
    assert over == [("Buggy C", "2026-07-04")]
    assert min(volts(on(rows["charges"], "Buggy C", "2026-07-04")["end_v"])) > 4.25


def test_the_bench_goes_down_and_up_in_even_steps(rows: Rows) -> None:
    tests: dict[tuple[str, str], list[tuple[float, bool]]] = {}
    for row in rows["bench"]:
        tests.setdefault((row["controller"], row["tested_at"]), []).append((float(row["supply_v"]), row["motor"] == "running"))
    assert len({controller for controller, _ in tests}) >= 4
    trips = {controller: 0 for controller, _ in tests}
    restarts = dict.fromkeys(trips, 0)
    for (controller, _), readings in tests.items():
        for (above_v, ran), (supply_v, runs) in pairwise(readings):
            assert abs(abs(supply_v - above_v) - 0.05) < 1e-9
            trips[controller] += ran and not runs
            restarts[controller] += runs and not ran
    assert min(trips.values()) >= 5
    assert [controller for controller, count in restarts.items() if count == 0] == ["launch-drive"]


HEALTHY = ("Groomer B", "Crawler B", "Buggy A", "Hauler B", "Launch A", "Launch B", "Tug A")


@pytest.mark.parametrize("pack", HEALTHY)
def test_healthy_packs_keep_their_reserve_and_their_floor(pack: str, rows: Rows, season: Season) -> None:
    chemistry = load(next(row["chemistry"] for row in rows["packs"] if row["pack"] == pack))
    for truth in truths(season, pack):
        assert truth.soc_after.min() > chemistry["reserve_soc"] + 0.1
        assert truth.lowest_loaded_v.min() > chemistry["floor_v"] + (0.04 if pack == "Groomer B" else 0.1)
    first, last = truths(season, pack)[0], truths(season, pack)[-1]
    assert (last.capacity_ah > 0.955 * first.capacity_ah).all()


@pytest.mark.parametrize("pack", ["Groomer B", "Crawler B", "Buggy A", "Hauler B"])
def test_healthy_lithium_cells_stay_together(pack: str, rows: Rows) -> None:
    for row in of(rows["runs"], pack):
        read = volts(row["after_v"])
        if pack == "Crawler B" and row["started_at"].startswith("2026-08-02"):
            continue  # the mistyped cell
        assert not read or max(read) - min(read) <= 0.03


def test_readings_follow_the_truth(rows: Rows, season: Season) -> None:
    """The charger's counts, where a run is charged from full to full, are the charge used within its error."""
    checked = 0
    for truth in truths(season, "Buggy A"):
        after = [row for row in of(rows["charges"], "Buggy A") if row["finished_at"] > truth.written_at]
        if (
            not after
            or after[0]["goal"] != "full"
            or not after[0]["put_back_mah"]
            or f"{truth.started_at:%Y-%m-%dT%H:%M}" != truth.written_at
        ):
            continue
        counted_ah = float(after[0]["put_back_mah"]) / 1000.0 * load("lihv")["charge_acceptance"]
        assert counted_ah == pytest.approx(truth.used_ah, rel=0.015 + 0.03)  # and up to 3 % lost by itself in a fortnight
        checked += 1
    assert checked >= 4
