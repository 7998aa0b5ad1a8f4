"""Runs that asked more of a pack than it is made for: too much current, too cold, too hot."""

from __future__ import annotations

from tracker.domain.results import Finding
from tracker.rules import wording
from tracker.rules.evidence import RunEvidence
from tracker.units import celsius_from_kelvin


def over_current(evidence: RunEvidence) -> Finding | None:
    """The mean current, or that at the lowest voltage, is above what the pack is rated for."""
    pack, run = evidence.pack, evidence.run
    if pack.continuous_c is None:
        return None
    limit = pack.continuous_c * pack.capacity_ah
    over = [
        f"{what} was {wording.amps(current)}"
        for what, current in (("the mean current", run.mean_a), ("the current at the lowest voltage", run.loaded_a))
        if current is not None and current > limit * 1.001  # a rating and a reading are both rounded
    ]
    if not over:
        return None
    words = wording.listed(over)
    return Finding(
        rule="over-current",
        severity="caution",
        subject=pack.name,
        message=f"{words[0].upper()}{words[1:]}, and {pack.name} is rated for {wording.amps(limit)} "
        f"({pack.continuous_c:g} times its capacity an hour). Gear down or use a pack rated for more, and feel for heat after the run.",
        why="More current than rated heats the cells, and heat ages them; labels are rather too high than too low. Common practice.",
        at=run.started_at,
    )


def run_outside_window(evidence: RunEvidence) -> Finding | None:
    """The pack was colder or hotter than its chemistry may be while discharged."""
    chemistry, run = evidence.chemistry, evidence.run
    if run.pack_k is None:
        return None
    temperature_c = celsius_from_kelvin(run.pack_k)
    low, high = chemistry["discharge_low"], chemistry["discharge_high"]
    if low - 0.01 <= temperature_c <= high + 0.01:
        return None
    cold = temperature_c < low
    limit = "discharge_low" if cold else "discharge_high"
    to_do = (
        "Warm it to room temperature before the next run." if cold else "Let it cool down before anything else, where it can do no harm."
    )
    return Finding(
        rule="run-cold" if cold else "run-hot",
        severity="caution",
        subject=evidence.pack.name,
        message=f"{evidence.pack.name} was run at {wording.celsius(run.pack_k)}; allowed is {wording.degrees(low)} to "
        f"{wording.degrees(high)}. {to_do} The maker's instructions come first.",
        why=(
            "Cold raises a cell's resistance, so that it drops under its floor while still half full. "
            if cold
            else "Heat ages cells quickly. "
        )
        + wording.standing_of(chemistry, limit),
        source=wording.source_of(chemistry, limit),
        at=run.started_at,
    )
