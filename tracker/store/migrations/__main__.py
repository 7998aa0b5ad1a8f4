"""Writes the next migration from the difference between the migrations so far and the tables in code.

``python -m tracker.store.migrations "add the maker of a pack"`` writes ``versions/0002_add_the_maker_of_a_pack.py``, to be
read and put right by hand.
"""

from __future__ import annotations

import sys

from sqlalchemy import create_engine

from tracker.store.schema import Schema


def main(words: str) -> None:
    """Write the next migration, called by these words."""
    schema = Schema()
    with create_engine("sqlite://").begin() as connection:
        if schema.versions:
            schema.upgrade(connection)
        schema.write(connection, words)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit('usage: python -m tracker.store.migrations "what changes"')
    main(sys.argv[1])
