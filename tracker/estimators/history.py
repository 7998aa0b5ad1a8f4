"""A pack with everything that was written down about it."""

from __future__ import annotations

from dataclasses import dataclass

from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run


@dataclass(frozen=True, kw_only=True, slots=True)
class PackHistory:
    """A pack, its runs and its charges, each in time order."""

    pack: Pack
    runs: tuple[Run, ...]
    charges: tuple[Charge, ...]
