"""The command `bench` as a person uses it."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.tracker.cli.conftest import Command
from tests.tracker.small_logbook import BENCH

HEADER = "controller,tested_at,supply_v,motor\n"
TWICE = [
    (6.6, "running"),
    (6.5, "running"),
    (6.4, "stopped"),
    (6.8, "stopped"),
    (6.9, "running"),
    (6.5, "running"),
    (6.4, "stopped"),
    (6.8, "stopped"),
    (6.9, "running"),
]


def rows(name: str, readings: list[tuple[float, str]], at: str = "2025-03-01T12:00:00Z") -> str:
    return "".join(f"{name},{at},{volts},{motor}\n" for volts, motor in readings)


def write(home: Path, text: str, name: str = "test.csv") -> str:
    (home / name).write_text(text, encoding="utf-8")
    return name


def test_a_file_by_itself_in_the_agreed_shape(run: Command, at_home: Path) -> None:
    document = run("bench", write(at_home, HEADER + rows("Left", TWICE)), "--json").document()
    [one] = document["controllers"]
    assert one["controller"] == "Left"
    assert one["trips"] == 2
    for name, truth in (("trip_v", 6.45), ("restart_v", 6.85)):
        assert set(one[name]) == {"value", "low", "high"}
        assert one[name]["value"] == pytest.approx(truth)
        assert one[name]["low"] < truth < one[name]["high"]
    for finding in one["findings"]:
        assert {"rule", "severity", "subject", "message", "why", "source"} <= set(finding)
    assert document["warnings"] == []
    assert run("bench").out.startswith("No bench tests are stored yet")  # nothing was stored of it


def test_the_table_fits_a_usual_terminal(filled: Command, at_home: Path) -> None:
    said = filled("bench", write(at_home, HEADER + rows("Left", TWICE) + rows("Right-hand-side", TWICE)))
    assert said.status == 0
    assert "6.45 ± 0.0" in said.out
    assert max(map(len, said.out.splitlines())) <= 80


def test_stored_tests_are_judged_beside_their_packs(filled: Command) -> None:
    [one] = filled("bench", "--json").document()["controllers"]
    assert one["controller"] == "Left"
    assert one["trips"] == 1
    [same] = filled("bench", "--controller", "Left", "--json").document()["controllers"]
    assert same == one
    assert "bench-loosely-known" in [finding["rule"] for finding in one["findings"]]


def test_a_file_is_judged_beside_what_is_stored(filled: Command, at_home: Path) -> None:
    """Right has a nickel trip, and drives lithium packs together with Left, whose stored test lies higher."""
    nickel = [(volts - 1.4, motor) for volts, motor in TWICE]
    [one] = filled("bench", write(at_home, HEADER + rows("Right", nickel)), "--json").document()["controllers"]
    found = {finding["rule"]: finding for finding in one["findings"]}
    assert found["bench-trip-under-floor"]["severity"] == "stop"
    assert "Tug A" in found["bench-trip-under-floor"]["message"]
    left = HEADER + rows("Left", TWICE) + rows("Right", nickel)
    both = filled("bench", write(at_home, left), "--json").document()["controllers"]
    assert "bench-other-lower" in [finding["rule"] for finding in both[0]["findings"]]


def test_a_controller_that_stays_off_has_no_restart_and_says_why(run: Command, at_home: Path) -> None:
    text = HEADER + rows("Left", [(6.5, "running"), (6.4, "stopped"), (7.0, "stopped")])
    [one] = run("bench", write(at_home, text), "--json").document()["controllers"]
    assert one["restart_v"] is None
    assert "stayed off up to 7.00 V" in one["why"]
    assert one["stays_off"] is True


@pytest.mark.parametrize("motor", ["running", "stopped"])
def test_rows_that_never_trip_are_refused_in_one_line(run: Command, at_home: Path, motor: str) -> None:
    said = run("bench", write(at_home, HEADER + rows("Left", [(7.0, motor), (5.0, motor)])))
    assert (said.status, said.out, said.err.count("\n")) == (1, "", 1)
    assert "Left: " in said.err
    assert "running, and stopped as the supply goes further down" in said.err


def test_one_of_several_that_never_trips_is_told_among_them(run: Command, at_home: Path) -> None:
    text = HEADER + rows("Left", TWICE) + rows("Right", [(7.0, "running"), (5.0, "running")])
    left, right = run("bench", write(at_home, text), "--json").document()["controllers"]
    assert left["trips"] == 2
    assert (right["trips"], right["trip_v"], right["restart_v"]) == (0, None, None)
    assert [finding["rule"] for finding in right["findings"]] == ["bench-never-trips"]


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (("--controller", "Middle"), "controller 'Middle' is not known; known are 'Left', 'Right'"),
        (("--controller", "Right"), "no bench test of controller 'Right' is stored"),
        (("test.csv", "--controller", "Right"), "known are 'Left'"),
        (("nowhere.csv",), "nowhere.csv"),
        (("small/packs.csv",), "holds no bench test"),
        (("--meter-within", "-1"), "--meter-within: '-1' is out of range; allowed are numbers from 0 to 100 V"),
        (("--delay-s", "x"), "--delay-s: 'x' is not a number"),
    ],
)
def test_what_is_refused(filled: Command, at_home: Path, argv: tuple[str, ...], words: str) -> None:
    write(at_home, BENCH)
    said = filled("bench", *argv)
    assert (said.status, said.out) == (1, "")
    assert words in said.err
    assert said.err.count("\n") == 1


def test_a_recording_of_a_moving_supply(run: Command, at_home: Path) -> None:
    volts = [7.0 - 0.01 * step for step in range(80)]
    down = [(0.1 * step, v, v > 6.405) for step, v in enumerate(volts)]
    up = [(8 + 0.1 * step, v, v > 6.905) for step, v in enumerate([*reversed(volts), 7.01, 7.02])]
    text = "time_s;supply_v;motor\n" + "".join(
        f"{t:.1f};{v:.2f};{'running' if runs else 'stopped'}\n".replace(".", ",") for t, v, runs in down + up
    )
    file = write(at_home, text, "left.csv")
    [one] = run("bench", file, "--json").document()["controllers"]
    assert one["controller"] == "left"
    # Turned down at 0.1 V/s, it is taken to act up to 0.5 s late: 25 mV back, half of what is allowed for.
    assert one["trip_v"]["value"] == pytest.approx(6.405 + 0.025, abs=0.006)
    [quick] = run("bench", file, "--controller", "Right", "--delay-s", "0", "--meter-within", "0.01", "--json").document()["controllers"]
    assert quick["controller"] == "Right"
    assert quick["trip_v"]["value"] == pytest.approx(6.405, abs=0.006)
    assert quick["uncertainty_v"]["delay"] == 0
    assert quick["uncertainty_v"]["meter"] == pytest.approx(0.01 / 3**0.5)


def test_a_recording_out_of_order_is_refused(run: Command, at_home: Path) -> None:
    said = run("bench", write(at_home, "time_s,supply_v,motor\n1,7,running\n1,6,stopped\n"))
    assert said.status == 1
    assert "test.csv:3: time_s: 1 does not come after 1" in said.err
    assert run("bench", write(at_home, "time_s,supply_v,motor\n")).status == 1
    assert "lacks motor" in run("bench", write(at_home, "time_s,supply_v\n1,7\n")).err


def test_an_odd_column_is_told(run: Command, at_home: Path) -> None:
    text = "controller,tested_at,supply_v,motor,weather\n" + "".join(
        f"Left,2025-03-01T12:00:00Z,{volts},{motor},wet\n" for volts, motor in TWICE
    )
    file = write(at_home, text)
    assert "warning: test.csv: column 'weather'" in run("bench", file).out
    assert len(run("bench", file, "--json").document()["warnings"]) == 1
