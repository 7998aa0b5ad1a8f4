"""Limits: one record from texts by column name."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run
from tracker.errors import FieldErrors, InputError
from tracker.intake.record import parse_charge, parse_controller, parse_pack, parse_run, parse_vehicle

TIME = datetime(2025, 4, 3, 12, 30, tzinfo=UTC)


def test_each_kind() -> None:
    assert parse_pack({"pack": " A ", "chemistry": "LiPo", "series": "3", "capacity_mah": "2200", "notes": " bought used "}) == Pack(
        name="A", chemistry="lipo", series=3, capacity_ah=2.2, notes="bought used"
    )
    assert parse_vehicle({"vehicle": "tug", "controllers": '"left side" right', "usual_a": ""}) == Vehicle(
        name="tug", controllers=("left side", "right")
    )
    assert parse_controller({"controller": "left", "cutoff_mode": "none", "powers_receiver": "no"}) == Controller(
        name="left", cutoff_mode="none", powers_receiver=False
    )
    assert parse_run({"pack": "A", "started_at": "2025-04-03T12:30Z", "run_min": "12.5", "before_v": "4.1 4,2".replace(",", ".")}) == Run(
        pack="A", started_at=TIME, run_s=750.0, before_v=(4.1, 4.2)
    )
    assert parse_charge({"pack": "A", "finished_at": "2025-04-03T12:30Z", "put_back_mah": "950", "end_v": "8,4"}) == Charge(
        pack="A", finished_at=TIME, put_back_ah=0.95, end_v=(8.4,)
    )


def test_every_column_at_fault_is_named() -> None:
    with pytest.raises(FieldErrors) as caught:
        parse_run({"pack": "", "started_at": "noon", "run_min": "NaN", "speed": "3", "ended_by": "me"})
    assert caught.value.problems == {
        "speed": (
            "is not a column of a run; allowed are pack, vehicle, started_at, run_min, rest_before_min, before_v, loaded_v, loaded_a, "
            "mean_a, used_mah, after_v, rest_after_min, cutoff_v, pack_c, ended_by and notes."
        ),
        "pack": "is missing; allowed: a name of 1 to 200 characters on one line.",
        "started_at": "'noon' is not a time; allowed is a day and a time such as 2025-04-03T14:30 (local time) or 2025-04-03T12:30Z.",
        "run_min": "'NaN' is not a number; leave the cell empty when nothing was recorded; allowed are numbers above 0 up to 100000 min.",
        "ended_by": "'me' is not known; allowed are driver, cutoff, alarm and other.",
    }
    assert isinstance(caught.value, InputError)
    assert str(caught.value).splitlines()[1] == "pack: is missing; allowed: a name of 1 to 200 characters on one line."


def test_fields_are_held_against_each_other() -> None:
    with pytest.raises(FieldErrors) as caught:
        parse_pack(
            {
                "pack": "A",
                "chemistry": "lipo",
                "series": "3",
                "capacity_mah": "2200",
                "acquired_on": "2025-04-03",
                "retired_on": "2025-04-02",
            }
        )
    assert list(caught.value.problems) == ["retired_on"]


def test_a_number_with_two_meanings_is_refused() -> None:
    with pytest.raises(FieldErrors, match=r"used_mah: '1,300' may mean 1300 or 1\.300; write 1300 or 1,3;"):
        parse_run({"pack": "A", "started_at": "2025-04-03T12:30Z", "run_min": "12", "used_mah": "1,300"})


@pytest.mark.parametrize("name", ["A\udc80", "A\0", "A\nB"])
def test_names_no_file_can_carry_are_refused(name: str) -> None:
    with pytest.raises(FieldErrors):
        parse_vehicle({"vehicle": name})
