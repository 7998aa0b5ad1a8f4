"""Leaving out what would not be seen: a chart of very many points is slow and shows no more."""

from __future__ import annotations

MOST_ROWS = 200
"""Rows of a table in a fold; nobody reads on beyond them."""


def evenly(count: int, most: int) -> list[int]:
    """At most so many places out of `count`, evenly spread, the first and the last among them."""
    if count <= most:
        return list(range(count))
    if most < 2:
        return [count - 1] if most else []
    return sorted({round(step * (count - 1) / (most - 1)) for step in range(most)})
