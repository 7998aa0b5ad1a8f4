"""Charges: writing them down and what they reveal."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from tracker.domain.results import Finding
from tracker.domain.session import Charge
from tracker.errors import ConflictError, NotFoundError
from tracker.estimators import MODEL
from tracker.services.assessing import assess, assess_and_save, histories
from tracker.services.estimating import Judged
from tracker.services.fitting import check_charge
from tracker.services.naming import opening
from tracker.services.noting import put, remove
from tracker.services.urgency import most_urgent_first
from tracker.store.database import Store
from tracker.store.records import Records


class Charges:
    """Charges and what was found because of them."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def all(self, pack: str) -> tuple[Charge, ...]:
        """Every charge of one pack, in time order."""
        with self._store.reading() as records:
            return tuple(records.charges([pack]))

    def one(self, pack: str, finished_at: datetime) -> Charge:
        """Return one charge; NotFoundError when it is not stored."""
        with self._store.reading() as records:
            charge = records.charge(pack, finished_at)
        if charge is None:
            raise NotFoundError(f"{opening('charge', (pack, finished_at))} is not stored; look at the name and the time.")
        return charge

    def log(self, charge: Charge, *, replace: bool = False) -> tuple[Finding, ...]:
        """Store a charge, estimate its pack's history anew, and return what was found about the charge or came to light with it."""
        with self._store.writing() as records:
            check_charge(records, charge)
            known = _known_findings(records, charge.pack)
            stored = records.charge(charge.pack, charge.finished_at)
            if stored not in (None, charge) and not replace:
                raise ConflictError(
                    f"another charge of '{charge.pack}' that finished at {charge.finished_at.astimezone():%Y-%m-%d %H:%M:%S} is stored already; "
                    "give the time this one finished, or ask for the stored one to be replaced (--replace)."
                )
            put(records, charge)
            [assessment] = assess_and_save(records, [charge.pack])
        return _news(charge, assessment, known)

    def preview(self, charge: Charge) -> tuple[Finding, ...]:
        """Return what would be found about a charge or come to light with it; nothing is stored."""
        with self._store.reading() as records:
            check_charge(records, charge)
            known = _known_findings(records, charge.pack)
            [history] = histories(records, [charge.pack])
            others = [each for each in history.charges if each.finished_at != charge.finished_at]
            charges = tuple(sorted([*others, charge], key=lambda each: each.finished_at))
            [assessment] = assess(records, [replace(history, charges=charges)])
        return _news(charge, assessment, known)

    def remove(self, pack: str, finished_at: datetime) -> None:
        """Remove a charge; NotFoundError when it is not stored."""
        with self._store.writing() as records:
            remove(records, "charge", (pack, finished_at))


def _news(charge: Charge, assessment: Judged, known: set[Finding]) -> tuple[Finding, ...]:
    """Return what was found about the charge itself, or was not known before it."""
    found = _gather(assessment.findings, (each.estimate.findings for each in assessment.runs))
    return most_urgent_first(finding for finding in found if finding.at == charge.finished_at or finding not in known)


def _known_findings(records: Records, pack: str) -> set[Finding]:
    """Return what was found before; where that is not stored or out of date, work it out."""
    if pack in records.run_counts() and pack not in records.stale_packs(MODEL):
        stored = records.findings([pack]).get(pack, ())
        return _gather(stored, (estimate.findings for estimate in records.estimates([pack], MODEL).values()))
    [assessment] = assess(records, histories(records, [pack]))
    return _gather(assessment.findings, (each.estimate.findings for each in assessment.runs))


def _gather(about_pack: Iterable[Finding], about_runs: Iterable[Iterable[Finding]]) -> set[Finding]:
    return set(about_pack).union(*about_runs)
