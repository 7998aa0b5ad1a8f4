"""Where a pack and its runs are found: addresses that hold any name, and names read back out of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from urllib.parse import quote, unquote, urlencode

from tracker.domain.changes import Key, Kind

PACK_PATH = "/pack"
CUTOFF_PATH, CONTROLLERS_PATH, DATA_PATH = "/cutoff", "/controllers", "/data"
LOG_PATH, LABELS_PATH, CHANGE_PATH = "/log", "/labels", "/change"
SHIELD = "~"
OWNER_OF: Mapping[Kind, str] = {"run": "pack", "charge": "pack", "bench": "controller"}
"""What is named by a time as well: whose it is."""


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


def log_address(pack: str, *, what: str = "run") -> str:
    """Address of the page Log with a pack chosen; what is written down there: run or charge."""
    return f"{LOG_PATH}?pack={quote(pack, safe='')}" + ("" if what == "run" else f"&what={what}")


def labels_address(packs: Sequence[str] = ()) -> str:
    """Address of the labels to print, of these packs or of all in use."""
    return LABELS_PATH + ("?" + "&".join(f"pack={quote(name, safe='')}" for name in packs) if packs else "")


def change_address(what: Kind, key: Key | None = None, *, part: str = "", **given: str) -> str:
    """Address at which something is written down, or with its key changed; a new one may have some of its columns given.

    Links to it are plain ones: the page is a document of its own.
    """
    asked: dict[str, str] = {"what": what}
    if isinstance(key, str):
        asked["name"] = key
    elif key is not None:
        asked |= {OWNER_OF[what]: key[0], "at": key[1].astimezone(UTC).isoformat()}
    return f"{CHANGE_PATH}?{urlencode(asked | given, quote_via=quote)}" + (f"#{part}" if part else "")


def key_in(what: Kind, query: Mapping[str, str]) -> Key | None:
    """The key of what an address of a change names; None where it names nothing that is there yet."""
    if what not in OWNER_OF:
        return query.get("name") or None
    at = run_in(query.get("at"))
    return None if at is None else (query.get(OWNER_OF[what], ""), at)


def name_in(segment: str) -> str:
    """The name in the last, percent-encoded part of a pack's address."""
    return unquote(segment, errors="replace").removeprefix(SHIELD)


def run_in(text: str | None) -> datetime | None:
    """The start of the run chosen in an address, or None when there is none or it is no time."""
    if not text:
        return None
    try:
        return datetime.fromisoformat(text).astimezone(UTC)
    except (ValueError, OverflowError):  # no time, or one beyond the calendar
        return None
