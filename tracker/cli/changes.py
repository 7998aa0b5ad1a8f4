"""The commands that list what was done to the logbook, and take it back."""

from __future__ import annotations

import argparse

from tracker.cli.options import Commands, add_command, open_chosen, words
from tracker.errors import NotFoundError

CHANGES_DESCRIPTION = """\
Lists what was written down, changed and deleted, newest first, with the id by
which 'pack-tracker undo' takes each back. What files brought in is not listed:
a backup is the way back from an import."""

CHANGES_EXAMPLES = """\
  pack-tracker changes
  pack-tracker changes --limit 100"""

UNDO_DESCRIPTION = """\
Takes back the last thing written down, changed or deleted, or the one named, and
puts everything it touched back as it was. It is refused when something of that
has been changed again since; take that back first."""

UNDO_EXAMPLES = """\
  pack-tracker undo
  pack-tracker undo 4f6c0d9e3b7a4c1d8e2f5a6b7c8d9e0f"""

USUAL_LIMIT = 20
MOST_LISTED = 500


def add_to(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    listing = add_command(commands, "changes", "what was written down, changed and deleted", CHANGES_DESCRIPTION, CHANGES_EXAMPLES)
    listing.add_argument("--limit", metavar="COUNT", type=_count, default=USUAL_LIMIT, help=f"how many to list; else {USUAL_LIMIT}")
    listing.set_defaults(run=changes)
    undoing = add_command(commands, "undo", "take back the last change, or the one named", UNDO_DESCRIPTION, UNDO_EXAMPLES)
    undoing.add_argument("id", metavar="ID", nargs="?", type=words, help="the change, as 'pack-tracker changes' lists it")
    undoing.set_defaults(run=undo)


def changes(args: argparse.Namespace) -> int:
    """List changes."""
    from tracker.cli.output import Column, local, show, table

    with open_chosen(args) as services:
        found = services.edits.recent(args.limit)
    if not found:
        show(["Nothing has been written down, changed or deleted yet, except by import."])
        return 0
    columns = [Column(title="when"), Column(title="what", shrinks=True, least=20), Column(title="state"), Column(title="id")]
    show(table(columns, [[local(each.at), each.words, "taken back" if each.undone else "", each.id] for each in found]))
    return 0


def undo(args: argparse.Namespace) -> int:
    """Take a change back."""
    from tracker.cli.output import clean, show

    with open_chosen(args) as services:
        wanted = args.id
        if wanted is None:
            last = services.edits.last()
            if last is None:
                raise NotFoundError("there is nothing to take back; 'pack-tracker changes' lists what was done.")
            wanted = last.id
        before = services.edits.done(wanted)
        taken_back = services.edits.undo(wanted)
    show([f"{'Taken back before' if before is not None and before.undone else 'Taken back'}: {clean(taken_back.words)}"])
    return 0


def _count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text[:9]) <= MOST_LISTED:
        raise argparse.ArgumentTypeError(f"'{text}' is not a count; allowed are whole numbers from 1 to {MOST_LISTED}")
    return int(text)
