"""Where the tool draws its lines: the estimates grade by them, and the rules and a pack's standing speak of the same ones."""

from __future__ import annotations

from datetime import timedelta

DAMAGING_PROBABILITY = 0.5
"""From this chance of having been under the floor a cell counts as damaged. The tool's own definition."""

DEEP_PROBABILITY = 0.05
"""From this chance of having been under the floor a cell counts as driven deep. The tool's own definition."""

STANDING_FULL = timedelta(days=3)
"""Longer than this a lithium pack should not stand full. Common practice."""
