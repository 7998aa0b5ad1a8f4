"""The list of changes, and taking them back, as a person does it."""

from __future__ import annotations

import re

from tests.tracker.cli.conftest import Command

LOG = ("log", "run", "--pack", "Tug B", "--started-at", "2025-04-19T10:00:00", "--run-min", "12", "--after-v", "3.8 3.79")


def test_the_last_change_is_taken_back_and_then_the_one_before(filled: Command) -> None:
    assert filled("changes").out.startswith("Nothing has been written down, changed or deleted yet")
    before = filled("assess", "--json").document()
    assert filled(*LOG).status == 0
    assert filled(*LOG).status == 0  # the same again is no change
    assert filled("log", "charge", "--pack", "Tug B", "--finished-at", "2025-04-20T10:00:00", "--goal", "full").status == 0
    listed = filled("changes").out.splitlines()
    assert listed[0].split() == ["when", "what", "state", "id"]
    assert [re.sub(r" 2025|  .*", "", line[18:]) for line in listed[1:]] == [
        "Charge of 'Tug B', 20 Apr 10:00, written down",
        "Run of 'Tug B', 19 Apr 10:00, written down",
    ]
    first = listed[2].split()[-1]
    assert "Taken back: Charge of 'Tug B', 20 Apr" in filled("undo").out
    assert "Taken back: Run of 'Tug B', 19 Apr" in filled("undo", first).out
    assert "Taken back before: Run of" in filled("undo", first).out
    assert filled("changes", "--limit", "1").out.count("taken back") == 1
    assert filled("assess", "--json").document() == before


def test_nothing_to_take_back(run: Command) -> None:
    said = run("undo")
    assert (said.status, said.out) == (1, "")
    assert said.err == "pack-tracker: there is nothing to take back; 'pack-tracker changes' lists what was done.\n"
    assert run("undo", "x").status == 1
    assert run("changes", "--limit", "0").status == 2


def test_what_a_person_named_does_not_steer_the_terminal(filled: Command) -> None:
    assert filled("log", "run", "--pack", "Tug B", "--run-min", "3", "--vehicle", "\x1b[31m<b>", "--new-vehicle").status == 1
    name = "\u202e<b>"
    assert filled("log", "run", "--pack", "Tug B", "--run-min", "3", "--vehicle", name, "--new-vehicle").status == 0
    assert name[0] not in filled("changes").out
    filled("undo")
    assert name[0] not in filled("undo").out
