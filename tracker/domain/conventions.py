"""Where the tool draws its lines: the estimates grade by them, and the rules and a pack's standing speak of the same ones."""

from __future__ import annotations

from datetime import timedelta

DAMAGING_PROBABILITY = 0.5
"""From this chance of having been under the floor a cell counts as damaged. The tool's own definition."""

DEEP_PROBABILITY = 0.05
"""From this chance of having been under the floor a cell counts as driven deep. The tool's own definition."""

STANDING_FULL = timedelta(days=3)
"""Longer than this a lithium pack should not stand full. Common practice."""

WORN_HEALTH = 0.8
"""Capacity over rated at which a battery by convention has come to the end of its useful life."""

WORN_SOURCE = (
    "USABC battery test manuals for electric vehicles (from memory); IEEE 1188, replacement of stationary lead batteries below 80 % of rated "
    "capacity, as quoted in public guides and in Batteries 7 (2021) 88, doi:10.3390/batteries7040088"
)
"""Where the 80 % come from. Neither was written for model packs."""

SPENT_HEALTH = 0.6
"""Capacity over rated at which a pack is spent: the end of the endurance test of IEC 61960-3 (from memory)."""

CAPACITY_SURENESS = 0.9
"""From this chance on that a pack is past one of these lines it is said to be. The tool's own definition."""

WORN_RESISTANCE = 2.0
"""Resistance over what it was when the record began from which a pack counts as worn. Common practice."""
