"""The command `cutoff` as a person uses it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.tracker.cli.conftest import Command

ASKED = ("cutoff", "Tug A", "Pond tug")
AGREED = {
    "pack": str,
    "vehicle": str,
    "floor_v": float,
    "recommended": dict,
    "timer_min": float,
    "present": list,
    "curve": list,
    "findings": list,
}
ADDED = {"wanted_risk", "pack_c", "why", "timer_why", "together", "load", "pack_learned", "draws"}


def is_quantity(value: Any) -> bool:
    return isinstance(value, dict) and set(value) == {"value", "low", "high"} and value["low"] <= value["value"] <= value["high"]


def numbers(part: Any) -> Iterator[float]:
    if isinstance(part, dict):
        part = list(part.values())
    if isinstance(part, list):
        for each in part:
            yield from numbers(each)
    elif isinstance(part, float | int):
        yield float(part)


def test_the_agreed_document(filled: Command) -> None:
    document = filled(*ASKED, "--json").document()
    assert {name: type(document[name]) for name in AGREED} == AGREED
    assert set(document) == set(AGREED) | ADDED
    assert (document["pack"], document["vehicle"], document["floor_v"]) == ("Tug A", "Pond tug", 3.0)
    assert (document["wanted_risk"], document["pack_c"]) == (0.01, pytest.approx(25.0))
    chosen = document["recommended"]
    assert set(chosen) == {"pack_v", "cell_v", "below_floor_probability", "usable_mah", "run_min"}
    assert chosen["cell_v"] == pytest.approx(chosen["pack_v"] / 2)
    assert chosen["below_floor_probability"] <= 0.01
    assert is_quantity(chosen["usable_mah"])
    assert is_quantity(chosen["run_min"])
    assert 2000 < chosen["usable_mah"]["value"] < 5500
    assert [one["controller"] for one in document["present"]] == ["Left", "Right"]
    for one in document["present"]:
        assert set(one) == {"controller", "trip_v", "bench_tested", "protects", "below_floor_probability", "verdict"}
        assert is_quantity(one["trip_v"])
    for point in document["curve"]:
        assert set(point) == {"pack_v", "below_floor_probability", "usable_mah", "run_min"}
    for finding in document["findings"]:
        assert {"rule", "severity", "subject", "message", "why", "source"} <= set(finding)
    assert [value for value in numbers(document) if not math.isfinite(value)] == []
    assert any(point["usable_mah"] != round(point["usable_mah"], 3) for point in document["curve"])  # not rounded


def test_a_controller_that_never_lets_go_in_the_document(filled: Command, at_home: Path) -> None:
    """Where there is no number there is null and a reason beside it."""
    (at_home / "controllers.csv").write_text("controller,cutoff_mode\nOpen,none\n", encoding="utf-8")
    (at_home / "vehicles.csv").write_text("vehicle,controllers,usual_a\nBare,Open,14\n", encoding="utf-8")
    assert filled("import", "controllers.csv", "vehicles.csv").status == 0
    document = filled("cutoff", "Tug A", "Bare", "--json").document()
    [one] = document["present"]
    assert one["trip_v"] is None
    assert "no cutoff" in one["why"]
    assert one["protects"] is False
    said = filled("cutoff", "Tug A", "Bare")
    assert "never" in said.out
    assert "Open has no cutoff" in " ".join(said.out.split())


def test_no_recommendation_in_the_document_and_in_words(filled: Command) -> None:
    document = filled(*ASKED, "--mean-a", "900", "--pack-c", "-20", "--json").document()
    assert document["recommended"] is None
    assert document["why"].startswith("No cutoff")
    assert document["timer_min"] is None
    assert document["timer_why"]
    said = filled(*ASKED, "--mean-a", "900", "--pack-c=-20")
    assert "no cutoff is safe enough" in said.out
    assert "Timer: none." in said.out


def test_the_words(filled: Command) -> None:
    said = filled(*ASKED)
    assert said.status == 0
    assert said.out.startswith("Tug A in Pond tug: let go at ")
    assert max(map(len, said.out.splitlines())) <= 80
    words = " ".join(said.out.split())
    for word in (
        "V a cell",
        "Timer:",
        "alarm on every cell",
        "Left",
        "Right",
        "bench",
        "setting",
        "Together:",
        "risk %",
        "> ",
        "Unplug",
        "maker's",
    ):
        assert word in words
    assert words.index("stop:") < words.index("caution:")


def test_options_are_heeded(filled: Command) -> None:
    document = filled(*ASKED, "--risk", "0,05", "--pack-c", "10", "--mean-a", "22", "--burst-a", "45", "--json").document()
    assert (document["wanted_risk"], document["pack_c"]) == (0.05, pytest.approx(10.0))
    assert document["load"]["mean_a"]["value"] == 22.0
    assert document["load"]["burst_a"]["value"] == 45.0
    assert "typed" in document["load"]["basis"]


def test_a_pack_out_of_use_is_called_so_before_anything_else(filled: Command) -> None:
    said = filled("cutoff", "Old one", "Pond tug")
    assert said.out.startswith("stop: Do not run Old one")
    assert said.out.count("Do not run Old one") == 1
    assert filled("cutoff", "Old one", "Pond tug", "--json").document()["findings"][0]["rule"] == "pack-not-to-be-run"


REFUSED = (
    (("cutoff", "Tug Z", "Pond tug"), "Tug Z"),
    (("cutoff", "Tug A", "Rail tug"), "Rail tug"),
    (("cutoff", "", ""), "''"),
    ((*ASKED, "--risk", "0"), "--risk: '0' is out of range; allowed are numbers from 0.002 to 0.5"),
    ((*ASKED, "--risk", "nan"), "--risk"),
    ((*ASKED, "--risk", "low"), "--risk: 'low' is not a number"),
    ((*ASKED, "--pack-c", "300"), "--pack-c: '300' is out of range; allowed are numbers from -20 to 60 °C"),
    ((*ASKED, "--mean-a", "0"), "--mean-a: '0' is out of range"),
    ((*ASKED, "--mean-a", "-5"), "--mean-a: '-5' is out of range"),
    ((*ASKED, "--burst-a", "1e9"), "--burst-a: '1e9' is out of range"),
    ((*ASKED, "--mean-a", "20", "--burst-a", "5"), "--burst-a: 5 A is less than the mean of 20 A"),
)


def test_refused_in_one_line(filled: Command) -> None:
    for argv, words in REFUSED:
        said = filled(*argv)
        assert (said.status, said.out) == (1, ""), argv
        assert words in said.err
        assert said.err.count("\n") == 1


def test_several_things_wrong_are_all_said(filled: Command) -> None:
    said = filled(*ASKED, "--risk", "7", "--pack-c", "cold")
    assert (said.status, said.out) == (1, "")
    assert said.err.count("\n") == 2


def test_wrong_usage(filled: Command) -> None:
    for argv in (("cutoff",), ("cutoff", "Tug A"), (*ASKED, "more"), (*ASKED, "--chance", "0.1")):
        said = filled(*argv)
        assert (said.status, said.out) == (2, "")


def test_a_name_that_would_steer_a_terminal(filled: Command, at_home: Path) -> None:
    name = "Tug \N{RIGHT-TO-LEFT OVERRIDE}A"
    (at_home / "packs.csv").write_text(f"pack,chemistry,series,capacity_mah\n{name},lipo,2,5000\n", encoding="utf-8")
    if filled("import", "packs.csv").status == 0:
        said = filled("cutoff", name, "Pond tug")
        assert said.status == 0
        assert "\N{RIGHT-TO-LEFT OVERRIDE}" not in said.out
        assert filled("cutoff", name, "Pond tug", "--json").document()["pack"] == name
    else:
        assert filled("cutoff", name, "Pond tug").status == 1
