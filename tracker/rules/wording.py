"""Words the rules share: voltages, lists of cells, chances, where a limit comes from, and what to do when a pack may burn."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import timedelta

from tracker.chemistry import Chemistry
from tracker.units import celsius_from_kelvin, mah_from_ah

SET_ASIDE = (
    "Put it outdoors or in a fireproof container, away from anything that can catch fire, and take it to a battery recycling point. "
    "The maker's instructions and local rules come first."
)
"""What to do with a lithium pack that must not be used again (advice of fire services and the U.S. EPA on damaged cells)."""

CHECK_FIRST = (
    "Let it rest for an hour in a place where it could burn without harm, look for swelling, smell or heat, and measure every cell "
    "before it is charged or used again. A pack that shows any of these is not to be charged. The maker's instructions come first."
)
"""What to do with a lithium pack that may be harmed (U.S. Fire Administration and NFPA: stop using on odour, change of shape, heat or leaking)."""


def mah(value_ah: float) -> str:
    """Return a charge in words."""
    return f"{mah_from_ah(value_ah):,.0f} mAh"


def volts(value: float) -> str:
    """Return a voltage in words."""
    return f"{value:.2f} V"


def celsius(temperature_k: float) -> str:
    """Return a temperature in words."""
    return degrees(celsius_from_kelvin(temperature_k))


def degrees(temperature_c: float) -> str:
    """Return a temperature given in degrees Celsius in words, with a proper minus and none before zero."""
    return f"{round(temperature_c) or 0:d} °C".replace("-", "−")


def percent(share: float) -> str:
    """Return a share in words; what is a little outside 0…1 is said as the limit."""
    return f"{100 * min(max(share, 0.0), 1.0):.0f} %"


def amps(current_a: float) -> str:
    """Return a current in words."""
    return f"{current_a:.0f} A" if current_a >= 10 else f"{current_a:.1f} A"


def span(time: timedelta) -> str:
    """Return a length of time in days in words."""
    days = round(time.total_seconds() / 86400.0)
    return "1 day" if days == 1 else f"{days} days"


def listed(words: Sequence[str]) -> str:
    """Return words joined as in speech."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def cells(numbers: Iterable[int]) -> str:
    """Return cell numbers in words, at the start of a sentence."""
    chosen = [str(number) for number in numbers]
    return f"Cell {chosen[0]}" if len(chosen) == 1 else f"Cells {listed(chosen)}"


def chance(probability: float) -> str:
    """Return how sure something is in words."""
    if probability >= 0.95:
        return "almost certainly"
    if probability >= 0.5:
        return "probably"
    if probability >= 0.05:
        return "possibly"
    return "hardly"


def source_of(chemistry: Chemistry, parameter: str) -> str | None:
    """Return where a limit of the chemistry comes from; None when it has no source."""
    source = chemistry.parameters[parameter].source
    return None if source.strip().lower() == "none" else source


def standing_of(chemistry: Chemistry, parameter: str) -> str:
    """Return how well founded a limit of the chemistry is, as a sentence for the reason of a finding."""
    status = chemistry.parameters[parameter].status
    return {
        "published": "The limit is a published one.",
        "derived": "The limit is computed from a published source.",
        "common practice": "The limit is common practice.",
        "from memory": "The limit is recalled from memory, not read in a source.",
    }[status]
