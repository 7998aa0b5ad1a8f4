"""Any name goes into an address and comes back out (round trip)."""

from __future__ import annotations

from datetime import UTC, datetime
from urllib.parse import urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.addresses import name_in, pack_address, run_in
from tests.dashboard.fakes import NAMES

RUN = datetime(2025, 6, 14, 12, 5, 30, 250000, tzinfo=UTC)


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1))
def test_a_name_comes_back_as_it_went_in(name: str) -> None:
    parts = urlsplit(pack_address(name, RUN))
    assert name_in(parts.path.removeprefix("/pack/")) == name
    assert parts.path.count("/") == 2


@pytest.mark.parametrize("name", [*NAMES, ".", "..", "~", "~..", "%2e%2e", "javascript:alert(1)", "//elsewhere.example"])
def test_an_address_stays_under_pack_and_has_no_dot_segment(name: str) -> None:
    address = pack_address(name)
    assert address.startswith("/pack/")
    assert address.removeprefix("/pack/").lower() not in {".", "..", "%2e", "%2e%2e"}


def test_the_start_of_a_run_comes_back_to_the_microsecond() -> None:
    from urllib.parse import parse_qs

    assert run_in(parse_qs(urlsplit(pack_address("Tug 1", RUN)).query)["run"][0]) == RUN


@pytest.mark.parametrize("text", [None, "", "yesterday", "2025-13-40", "<script>"])
def test_what_is_no_time_chooses_no_run(text: str | None) -> None:
    assert run_in(text) is None
