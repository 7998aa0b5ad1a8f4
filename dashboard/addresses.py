"""Where a pack and its runs are found: addresses that hold any name, and names read back out of them."""

from __future__ import annotations

from datetime import UTC, datetime
from urllib.parse import quote, unquote

PACK_PATH = "/pack"


def pack_address(name: str, run: datetime | None = None, *, all_runs: bool = False) -> str:
    """Address of a pack's page, with one of its runs chosen where given."""
    query = []
    if name.strip(".") == "" and len(name) <= 2:
        # Browsers take a path segment of one or two dots, even percent-encoded, for "here" and "one up".
        path = f"{PACK_PATH}/by-name"
        query.append(f"name={quote(name, safe='')}")
    else:
        path = f"{PACK_PATH}/{quote(name, safe='')}"
    if run is not None:
        query.append(f"run={quote(run.astimezone(UTC).isoformat(), safe='')}")
    if all_runs:
        query.append("runs=all")
    return path + ("?" + "&".join(query) if query else "")


def name_in(segment: str) -> str:
    """The name in the last, percent-encoded part of a pack's address."""
    return unquote(segment, errors="replace")


def run_in(text: str | None) -> datetime | None:
    """The start of the run chosen in an address, or None when there is none or it is no time."""
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment.astimezone(UTC)
