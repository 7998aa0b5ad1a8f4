"""Any name goes into an address and comes back out (round trip)."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.addresses import change_address, key_in, name_in, pack_address, run_in
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
    assert run_in(parse_qs(urlsplit(pack_address("Tug 1", RUN)).query)["run"][0]) == RUN


@pytest.mark.parametrize("text", [None, "", "yesterday", "2025-13-40", "<script>", "0001-01-01T00:00:00+14:00"])
def test_what_is_no_time_chooses_no_run(text: str | None) -> None:
    assert run_in(text) is None


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1), st.sampled_from(["pack", "vehicle", "run", "bench"]))
def test_what_an_address_changes_comes_back_as_it_went_in(name: str, kind: Any) -> None:
    key = name if kind in ("pack", "vehicle") else (name, RUN)
    parts = urlsplit(change_address(kind, key))
    query = {word: values[0] for word, values in parse_qs(parts.query).items()}
    assert (parts.path, query["what"], key_in(kind, query)) == ("/change", kind, key)


def test_an_address_without_a_key_changes_nothing_there_is() -> None:
    assert key_in("run", {"pack": "Tug 1"}) is None
    assert key_in("run", {"pack": "Tug 1", "at": "yesterday"}) is None
    assert key_in("pack", {}) is None
