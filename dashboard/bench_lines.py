"""The readings of a bench test as lines that can be put right by hand: 6.55 running."""

from __future__ import annotations

from collections.abc import Mapping

from tracker.errors import FieldErrors

RUNNING, STOPPED = "running", "stopped"
EXAMPLE = "6.55 running"


def lines_of(texts: Mapping[str, str]) -> str:
    """The readings of a test, one a line."""
    return "\n".join(" ".join(pair) for pair in zip(texts["supply_v"].split(), texts["motor"].split(), strict=True))


def texts_of_lines(lines: str) -> dict[str, str]:
    """The columns of the readings; FieldErrors naming the first line that is none."""
    readings = [(place, line.split()) for place, line in enumerate(lines.splitlines(), start=1) if line.strip()]
    for place, parts in readings:
        if len(parts) != 2 or parts[1].lower() not in (RUNNING, STOPPED):
            given = " ".join(parts)[:40]
            raise FieldErrors({"readings": f"line {place} is '{given}'; allowed is a voltage and running or stopped, such as {EXAMPLE}."})
    return {"supply_v": " ".join(parts[0] for _, parts in readings), "motor": " ".join(parts[1] for _, parts in readings)}
