"""What a person sees when the program itself is at fault: one line with a reference, the details in a file."""

from __future__ import annotations

import platform
import sys
import tempfile
import traceback
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from secrets import token_hex

from platformdirs import user_log_path


def report_fault(fault: BaseException, command: str) -> str:
    """Write the details of `fault` to a file and return the line to show."""
    reference = f"{datetime.now(UTC):%Y%m%d-%H%M%S}-{token_hex(2)}"
    words = (
        f"something went wrong inside the program while doing '{command}' (reference {reference}); what was not finished was not stored."
    )
    written = _write(reference, _details(fault, command, reference))
    return f"{words} Details: {written}" if written else f"{words} The details could not be written anywhere."


def _details(fault: BaseException, command: str, reference: str) -> str:
    # The arguments stay out: they may hold a database's password.
    head = f"reference {reference}\ncommand {command}\npack-tracker {_version()}\npython {sys.version}\nsystem {platform.platform()}\n\n"
    return head + "".join(traceback.format_exception(fault))


def _version() -> str:
    try:
        return version("pack-health-tracker")
    except PackageNotFoundError:
        return "not installed"


def _write(reference: str, details: str) -> Path | None:
    for folder in (user_log_path("pack-health-tracker", appauthor=False), Path(tempfile.gettempdir())):
        target = folder / f"pack-tracker-{reference}.log"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            target.write_text(details, encoding="utf-8", errors="backslashreplace")
        except OSError:
            continue  # try the next folder; the last line shown says so when none will take it
        return target
    return None
