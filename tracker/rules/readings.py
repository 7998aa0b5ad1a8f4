"""Readings that disagree, that cannot be, or that were taken too soon, and cells that stand apart."""

from __future__ import annotations

from collections.abc import Iterator

from tracker.domain.results import Finding
from tracker.domain.session import Volts
from tracker.rules import wording
from tracker.rules.evidence import RunEvidence
from tracker.rules.spread import spread_words
from tracker.rules.voltages import RESTED_S, mean_v, per_cell, rest_before_s
from tracker.units import minutes_from_seconds

LOWEST_LITHIUM_V = 0.3
"""A lithium cell read lower than this is dead or, more often, misread. Common practice."""
ABOVE_FULL_V = 0.15
"""No rested or loaded cell stands this much above its full-charge voltage: lithium chargers cut off well before. Common practice."""
MOST_OF_RATED = 1.5
"""No pack gives so much more than its label says. Common practice."""
RISE_V = 0.05
"""More than a hand-held meter's error twice over (about 30 mV at 4 V: ±(0.5 % + 1 digit), from memory)."""

_NAMES = {
    "rest_voltage": "The rested voltages do",
    "load_voltage": "The voltage under load does",
    "charger": "The charger's count does",
    "meter": "The meter's count does",
    "trace": "The recorded trace does",
    "usual_draw": "The model's usual draw does",
}


def readings_disagree(evidence: RunEvidence) -> Iterator[Finding]:
    """Yield a finding for each kind of evidence that does not fit the others."""
    for vote in evidence.estimate.evidence:
        if not vote.disagrees:
            continue
        words = f" Namely: {vote.words.strip()}." if vote.words.strip() else ""
        # An unusual drive is no mistake; a reading that contradicts the others is.
        unusual = vote.kind == "usual_draw"
        to_do = "Nothing needs doing if the drive was an unusual one." if unusual else "Check what was written down and correct the run."
        yield Finding(
            rule="readings-disagree",
            severity="note" if unusual else "caution",
            subject=evidence.pack.name,
            message=f"{_NAMES.get(vote.kind, vote.kind + ' does')} not fit the other readings of this run.{words} "
            f"It counted for {wording.percent(vote.weight)} of the answer. {to_do}",
            why="All cells in series give the same charge, so every kind of reading of one run has to tell the same amount.",
            source="Kirchhoff's current law",
            at=evidence.run.started_at,
        )


def reading_impossible(evidence: RunEvidence) -> Finding | None:
    """Some voltage written down is not one such a cell can have, or the pack came back fuller than it left."""
    run = evidence.run
    problems = [
        *_out_of_range("before the run", run.before_v, evidence),
        *_out_of_range("under load", run.loaded_v, evidence),
        *_out_of_range("after the run", run.after_v, evidence),
        *_risen(evidence),
        *_too_much(evidence),
    ]
    if not problems:
        return None
    lithium = evidence.chemistry.family == "lithium"
    if_true = " If a second measurement says the same, do not charge or use the pack, and ask its maker." if lithium else ""
    return Finding(
        rule="reading-impossible",
        severity="caution",
        subject=evidence.pack.name,
        message=f"{'. '.join(problems)}. Check the number, and measure again if the pack still stands as it did.{if_true}",
        why="Such a voltage is nearly always a slip of the pen, a wrong order of the cells or a bad contact. Common practice.",
        at=run.started_at,
    )


def read_too_soon(evidence: RunEvidence) -> Finding | None:
    """A voltage meant to be a rested one was read within 5 minutes of load or charge."""
    run, soon = evidence.run, []
    rested_s = rest_before_s(run, evidence.charge_before)
    if run.before_v and rested_s is not None and rested_s < RESTED_S:
        soon.append(f"the voltage before the run was read {_minutes(rested_s)} after charge or load")
    if run.after_v and run.rest_after_s is not None and run.rest_after_s < RESTED_S:
        soon.append(f"the voltage after the run was read {_minutes(run.rest_after_s)} after load")
    if not soon:
        return None
    words = wording.listed(soon)
    return Finding(
        rule="read-too-soon",
        severity="note",
        subject=evidence.pack.name,
        message=f"{words[0].upper()}{words[1:]}: it is provisional. Let the pack rest 5 minutes at the least, better an hour, before reading.",
        why="A cell's voltage goes on creeping for minutes to hours after load or charge; a reading taken sooner tells its charge less well.",
        source="Theuerkauf and Swan, Batteries 8 (2022) 77, doi:10.3390/batteries8080077",
        at=run.started_at,
    )


def cell_spread(evidence: RunEvidence) -> Finding | None:
    """One cell rested well apart from the others, before the run or after it."""
    run = evidence.run
    if any(
        cell.voltage_v < evidence.chemistry["no_recharge_v"]
        for cell in (*per_cell(run.before_v, evidence.pack), *per_cell(run.after_v, evidence.pack))
    ):
        return None  # such a pack is out of use; advice on balancing it would contradict that
    apart = []
    rested_s = rest_before_s(run, evidence.charge_before)
    if rested_s is None or rested_s >= RESTED_S:
        apart.append(spread_words("before the run", run.before_v, evidence.pack, evidence.chemistry))
    if run.rest_after_s is not None and run.rest_after_s >= RESTED_S:
        apart.append(spread_words("after the run", run.after_v, evidence.pack, evidence.chemistry))
    found = [words for words in apart if words]
    if not found:
        return None
    return Finding(
        rule="cell-spread",
        severity="caution",
        subject=evidence.pack.name,
        message=f"{' '.join(found)} Balance it at the next charge and stay with it; if the same cell falls behind again it is weaker than "
        "the others, and it decides where a run has to end.",
        why="The cell that stands lowest is empty first while the others still push. How far apart is too far is common practice.",
        at=run.started_at,
    )


def _out_of_range(when: str, reading: Volts, evidence: RunEvidence) -> Iterator[str]:
    most = evidence.chemistry["full_v"] + ABOVE_FULL_V
    if len(reading) == 1 and evidence.chemistry.is_one_cells_voltage(reading[0], evidence.pack.series):
        yield (
            f"{wording.volts(reading[0])} was written down for the whole pack {when}, which is what one of its "
            f"{evidence.pack.series} cells would have"
        )
    least = LOWEST_LITHIUM_V if evidence.chemistry.family == "lithium" else None
    for cell in per_cell(reading, evidence.pack):
        if cell.voltage_v > most or (least is not None and cell.voltage_v < least):
            allowed = f"up to {wording.volts(most)}" if least is None else f"{wording.volts(least)} to {wording.volts(most)}"
            yield f"{cell.name} was written down with {wording.volts(cell.voltage_v)} {when}, where {allowed} is possible"


def _risen(evidence: RunEvidence) -> Iterator[str]:
    run, pack = evidence.run, evidence.pack
    before, after = per_cell(run.before_v, pack), per_cell(run.after_v, pack)
    if len(before) != len(after):
        means = mean_v(run.before_v, pack), mean_v(run.after_v, pack)
        if means[0] is not None and means[1] is not None and means[1] > means[0] + RISE_V:
            yield f"The mean of the cells rose from {wording.volts(means[0])} to {wording.volts(means[1])} during the run"
        return
    for first, then in zip(before, after, strict=True):
        if then.voltage_v > first.voltage_v + RISE_V:
            yield f"{first.name} rose from {wording.volts(first.voltage_v)} to {wording.volts(then.voltage_v)} during the run"


def _too_much(evidence: RunEvidence) -> Iterator[str]:
    used_ah, capacity_ah = evidence.run.used_ah, evidence.pack.capacity_ah
    if used_ah is not None and used_ah > MOST_OF_RATED * capacity_ah:
        yield (
            f"A meter's count of {wording.mah(used_ah)} was written down for a pack of {wording.mah(capacity_ah)}, "
            f"where at most {wording.mah(MOST_OF_RATED * capacity_ah)} is possible"
        )


def _minutes(time_s: float) -> str:
    return f"{minutes_from_seconds(time_s):.0f} min" if time_s >= 60 else f"{time_s:.0f} s"
