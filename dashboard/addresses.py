"""Where a pack and its runs are found: addresses that hold any name, and names read back out of them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from urllib.parse import quote, unquote, urlencode

PACK_PATH = "/pack"
CUTOFF_PATH, CONTROLLERS_PATH, DATA_PATH = "/cutoff", "/controllers", "/data"
LOG_PATH, LABELS_PATH = "/log", "/labels"
SHIELD = "~"


def pack_address(name: str, run: datetime | None = None, *, all_runs: bool = False) -> str:
    """Address of a pack's page, with one of its runs chosen where given."""
    query = []
    # Browsers take a path segment of one or two dots, even percent-encoded, for "here" and "one up": a leading tilde keeps it a name.
    guarded = SHIELD + name if name in {".", ".."} or name.startswith(SHIELD) else name
    path = f"{PACK_PATH}/{quote(guarded, safe='')}"
    if run is not None:
        query.append(f"run={quote(run.astimezone(UTC).isoformat(), safe='')}")
    if all_runs:
        query.append("runs=all")
    return path + ("?" + "&".join(query) if query else "")


def cutoff_address(pack: str, vehicle: str | None = None) -> str:
    """Address of the cutoff page with a pack chosen, and a model where given."""
    return f"{CUTOFF_PATH}?{urlencode({'pack': pack} | ({} if vehicle is None else {'vehicle': vehicle}), quote_via=quote)}"


def data_address(**asked: str) -> str:
    """Address of the page of data in and out, with what is looked at there."""
    return DATA_PATH + (f"?{urlencode(asked, quote_via=quote)}" if asked else "")


def log_address(pack: str) -> str:
    """Address of the page Log with a pack chosen."""
    return f"{LOG_PATH}?pack={quote(pack, safe='')}"


def labels_address(packs: Sequence[str] = ()) -> str:
    """Address of the labels to print, of these packs or of all in use."""
    return LABELS_PATH + ("?" + "&".join(f"pack={quote(name, safe='')}" for name in packs) if packs else "")


def name_in(segment: str) -> str:
    """The name in the last, percent-encoded part of a pack's address."""
    return unquote(segment, errors="replace").removeprefix(SHIELD)


def run_in(text: str | None) -> datetime | None:
    """The start of the run chosen in an address, or None when there is none or it is no time."""
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment.astimezone(UTC)
