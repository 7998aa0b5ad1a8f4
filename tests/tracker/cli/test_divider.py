"""The command `divider` as a person uses it."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.tracker.cli.conftest import Command

TEN = ("--top", "10k", "--bottom", "10k", "--trips-at", "5")


def test_the_agreed_document(run: Command, at_home: Path) -> None:
    """Worked by hand: 2.5 V, 10 k over 10 k, all four at 1 %."""
    document = run("divider", *TEN, "--wanted", "6", "--series", "E96", "--part-tolerance", "1", "--json").document()
    assert document["add"] == "across_bottom"
    assert document["ideal_ohm"] == pytest.approx(25e3)
    assert document["chosen_ohm"] == 24.9e3
    assert document["trip_v"] == pytest.approx(6.0040, abs=1e-4)
    assert document["worst_case_v"] == pytest.approx([5.8753, 6.1356], abs=2e-4)
    assert document["interval_95_v"] == pytest.approx([5.923, 6.085], abs=2e-3)
    assert document["rss_percent"] == pytest.approx(1.2418, abs=2e-4)
    assert document["power_mw"] == pytest.approx(0.251, abs=1e-3)
    assert {choice["ohm"] for choice in document["choices"]} >= {24.9e3, 25.5e3}
    assert all(set(choice) == {"ohm", "trip_v"} for choice in document["choices"])
    assert all(isinstance(caution, str) for caution in document["cautions"])
    assert [each["place"] for each in document["places"]] == ["across_bottom", "across_top", "series_top", "series_bottom"]
    assert [each["works"] for each in document["places"]] == [True, False, True, False]
    assert "why" not in document
    assert not (at_home / "logbook.sqlite3").exists()  # no logbook is needed, and none is made


@pytest.mark.parametrize(("wanted", "add", "chosen"), [("4.5", "across_top", 39e3), ("6", "across_bottom", 24e3), ("5", "none", None)])
def test_e24_unless_told(run: Command, wanted: str, add: str, chosen: float | None) -> None:
    document = run("divider", *TEN, "--wanted", wanted, "--json").document()
    assert (document["add"], document["chosen_ohm"]) == (add, chosen)
    assert ("why" in document) == (chosen is None)


def test_resistances_as_people_write_them(run: Command) -> None:
    asked = ("--trips-at", "5,05", "--wanted", "6,4", "--json")
    one = run("divider", "--top", "4k7", "--bottom", "0M0022", *asked).document()
    same = run("divider", "--top", "4700", "--bottom", "2.2 kΩ", *asked).document()
    assert one == same


def test_parts_known_by_their_ratio(run: Command) -> None:
    document = run("divider", "--ratio", "1", "--trips-at", "5", "--wanted", "6", "--json").document()
    assert (document["ideal_ohm"], document["chosen_ohm"], document["choices"]) == (None, None, [])
    assert document["ideal_ratio"] == pytest.approx(2.5)
    assert "measure" in document["why"]
    whole = run("divider", *TEN, "--wanted", "6", "--json").document()
    for known in (("--bottom", "10k"), ("--top", "10k")):
        assert run("divider", "--ratio", "1", *known, "--trips-at", "5", "--wanted", "6", "--json").document() == whole


@pytest.mark.parametrize("more", [(), ("--place", "series_top"), ("--series", "e96")])
def test_the_words(run: Command, more: tuple[str, ...]) -> None:
    said = run("divider", *TEN, "--wanted", "6", *more)
    assert said.status == 0
    assert said.out.startswith("Add ")
    assert max(map(len, said.out.splitlines())) <= 80
    words = " ".join(said.out.split())
    for word in ("warranty", "bench test", "over-voltage limit", "all four places", "worst case", "0603"):
        assert word in words
    alone = run("divider", "--ratio", "1", "--trips-at", "5", "--wanted", "6")
    assert alone.out.startswith("Add 2.5 times the bottom resistor")
    assert run("divider", *TEN, "--wanted", "5").out.startswith("Add nothing.")


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        ((*TEN, "--wanted", "2.4"), "cannot be reached: the controller compares with 2.5 V"),
        ((*TEN, "--wanted", "6", "--place", "across_top"), "negative one. What works: across_bottom"),
        (
            ("--top", "0", "--bottom", "10k", "--trips-at", "5", "--wanted", "6"),
            "--top: '0' is out of range; allowed are resistances above 0",
        ),
        (("--top", "10k", "--bottom", "-10k", "--trips-at", "5", "--wanted", "6"), "--bottom: '-10k' is not a resistance"),
        ((*TEN, "--wanted", "many"), "--wanted: 'many' is not a number"),
        ((*TEN, "--wanted", "6", "--part-tolerance", "80"), "--part-tolerance: '80' is out of range; allowed are numbers from 0 to 50 %"),
        ((*TEN, "--wanted", "6", "--bench-within", "5"), "the bench reading is within 5 V"),
        (("--ratio", "1e9", "--trips-at", "5", "--wanted", "6"), "--ratio: '1e9' is out of range"),
    ],
)
def test_refused_in_one_line(run: Command, argv: tuple[str, ...], words: str) -> None:
    said = run("divider", *argv)
    assert (said.status, said.out) == (1, "")
    assert words in said.err
    assert said.err.count("\n") == 1


@pytest.mark.parametrize(
    "argv",
    [
        ("--top", "10k", "--trips-at", "5", "--wanted", "6"),
        ("--trips-at", "5", "--wanted", "6"),
        ("--ratio", "1", *TEN, "--wanted", "6"),
        TEN,
        (*TEN, "--wanted", "6", "--series", "E13"),
        (*TEN, "--wanted", "6", "--place", "above"),
    ],
)
def test_wrong_usage(run: Command, argv: tuple[str, ...]) -> None:
    said = run("divider", *argv)
    assert (said.status, said.out) == (2, "")
    assert "divider" in said.err
