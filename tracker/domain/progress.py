"""How long work tells how far it is."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str, int, int | None], None]
"""Called with what is being done, how much is done and, when known, how much there is."""
