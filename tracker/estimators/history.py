"""One pack's history: the pack, its runs and its charges."""

from __future__ import annotations

from dataclasses import dataclass

from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run


@dataclass(frozen=True, kw_only=True, slots=True)
class PackHistory:
    """What was written down about one pack, in time order."""

    pack: Pack
    runs: tuple[Run, ...] = ()
    charges: tuple[Charge, ...] = ()
