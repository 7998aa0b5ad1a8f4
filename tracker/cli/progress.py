"""Says on standard error how far a long job is."""

from __future__ import annotations

import sys
from time import monotonic
from types import TracebackType
from typing import Self

QUIET_S = 1.0
"""A job shorter than this says nothing."""
REDRAW_S = 0.2
LINE_EVERY_S = 10.0
"""How often a line is added where lines cannot be redrawn, as in a log file."""


class ProgressLine:
    """A line that is redrawn on a terminal; elsewhere a new line now and then."""

    def __init__(self) -> None:
        self._stream = sys.stderr
        self._redraws = self._stream.isatty()
        self._next = monotonic() + QUIET_S
        self._width = 0

    def __call__(self, label: str, done: int, total: int | None) -> None:
        """Tell how far the job is; most calls show nothing."""
        now = monotonic()
        if now < self._next:
            return
        words = f"{label}: {done:,} of {total:,}" if total else f"{label}: {done:,}"
        if self._redraws:
            print(f"\r{words:<{self._width}}", end="", file=self._stream, flush=True)
            self._width = len(words)
            self._next = now + REDRAW_S
        else:
            print(words, file=self._stream, flush=True)
            self._next = now + LINE_EVERY_S

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Wipe a line that stands on the terminal."""
        if self._width:
            print(f"\r{'':<{self._width}}\r", end="", file=self._stream, flush=True)
