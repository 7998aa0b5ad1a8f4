"""What several commands share on the command line, and how they open the database."""

from __future__ import annotations

import argparse
import os
from typing import TYPE_CHECKING

from tracker.errors import InputError

if TYPE_CHECKING:
    from tracker.services import Services

DATABASE_VARIABLE = "PACK_TRACKER_DATABASE"

Commands = argparse._SubParsersAction


class Formatter(argparse.RawDescriptionHelpFormatter):
    """Keeps the line breaks of examples, and options in one column wide enough for our names."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=26)


def add_command(
    commands: Commands[argparse.ArgumentParser], name: str, summary: str, description: str, examples: str
) -> argparse.ArgumentParser:
    """Add a command whose help says what it does and shows examples."""
    parser = commands.add_parser(
        name, help=summary, description=description, epilog=f"examples:\n{examples}", formatter_class=Formatter, allow_abbrev=False
    )
    add_database(parser, default=argparse.SUPPRESS)
    return parser


def add_database(parser: argparse.ArgumentParser, *, default: str | None) -> None:
    """Add --database, which may stand before or behind the command."""
    parser.add_argument(
        "--database",
        metavar="URL",
        type=words,
        default=default,
        help=f"the database to use, SQLite or PostgreSQL, as an SQLAlchemy URL; else {DATABASE_VARIABLE}, else a file in your data folder",
    )


def add_json(parser: argparse.ArgumentParser) -> None:
    """Add --json."""
    parser.add_argument("--json", action="store_true", help="print one JSON document instead of a table")


def words(text: str) -> str:
    """Return an option's text if it is text: what the system hands over may be bytes that are none."""
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise argparse.ArgumentTypeError("holds bytes that are not text in this system's encoding; type it anew") from error
    return text


def open_chosen(args: argparse.Namespace) -> Services:
    """Open the database the person chose."""
    from tracker.services import open_services

    return open_services(database_url(args))


def database_url(args: argparse.Namespace) -> str | None:
    """Return the database's URL from the option or else the environment; None for the usual file."""
    if args.database:
        return str(args.database)
    try:
        return words(os.environ.get(DATABASE_VARIABLE, "")) or None
    except argparse.ArgumentTypeError as error:
        raise InputError(f"{DATABASE_VARIABLE} {error}.") from error
