"""The command line: reads what was asked, calls the command, turns every failure into words and an exit status.

Nothing heavy is imported here, so that help appears at once; each command imports what it needs when it runs.
"""

from __future__ import annotations

import argparse
import errno
import gc
import os
import re
import sys
from collections.abc import Sequence

from tracker.cli import assess, bench, changes, cutoff, divider, exchange, health, log, packs, serving
from tracker.cli.options import Formatter, add_database
from tracker.errors import TrackerError

DONE, REFUSED, WRONG_USAGE, INTERRUPTED = 0, 1, 2, 130

DESCRIPTION = """\
Keeps the battery packs of radio-controlled models alive: what each run took
from each cell, which runs went too deep, which pack is going weak."""

EPILOG = """\
examples:
  pack-tracker demo                        look around in an invented club's logbook
  pack-tracker import my-logbook/          bring in CSV files
  pack-tracker log run --pack "Buggy B" --run-min 14 --before-v 8.36 --after-v 7.52
  pack-tracker assess --pack "Buggy B"       what each run took from each cell
  pack-tracker health                      what each pack holds, and how it fades
  pack-tracker bench my-bench-test.csv     where a controller lets go
  pack-tracker packs                       what is in the box and what to do next

'pack-tracker COMMAND --help' explains a command. The logbook lies in a database
file in your data folder; --database or PACK_TRACKER_DATABASE names another one.

A lithium pack that was run too deep, is swollen, hot or damaged can burn. The
maker's instructions and local rules come before anything this program says."""

GROUPS = (serving, exchange, log, changes, packs, assess, health, cutoff, bench, divider)
"""Command groups, in the order help lists them."""

_OUTPUT_FAILS = (errno.ENOSPC, errno.EFBIG, errno.EIO)
"""What a stream says, naming no file, when its disk takes no more."""

_NEGATIVE = re.compile(r"-\d*,\d+|-\d*[.,]?\d*[rRkKM]\d*")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status: 0 done, 1 refused, 2 wrong usage."""
    _replace_closed_streams()
    _never_fail_on_letters()
    _one_thread_for_small_matrices()
    _look_for_rubbish_seldom()
    words = _keep_negative_numbers(list(sys.argv[1:] if argv is None else argv))
    try:
        status = _run(words)
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read our output has seen enough; Python would complain once more when it closes the stream.
        _discard_output()
        return DONE
    except KeyboardInterrupt:
        print(file=sys.stderr)
        return INTERRUPTED
    except OSError as error:  # all else has been told by now, so it is the output that cannot be written
        print(f"pack-tracker: the output cannot be written: {error.strerror or error}; look at where it goes.", file=sys.stderr)
        _discard_output()
        return REFUSED
    return status


def _look_for_rubbish_seldom() -> None:
    """Let Python's cycle collector rest while everything is imported: of what is made then nothing goes again, and looking took an eighth of a short command."""
    gc.set_threshold(100_000, 50, 100)


def _one_thread_for_small_matrices() -> None:
    """Keep the matrix library from starting threads: ours are small, and starting takes a quarter of a second of each command."""
    if "numpy" not in sys.modules:
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def build_parser() -> argparse.ArgumentParser:
    """Build the parser of all commands."""
    parser = argparse.ArgumentParser(
        prog="pack-tracker", description=DESCRIPTION, epilog=EPILOG, formatter_class=Formatter, allow_abbrev=False
    )
    parser.add_argument("--version", action="store_true", help="print the version and stop")
    add_database(parser, default=None)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", dest="command")
    for group in GROUPS:
        group.add_to(commands)
    return parser


def _run(words: list[str]) -> int:
    parser = build_parser()
    try:
        args = parser.parse_args(words)
    except SystemExit as stop:  # argparse has already said what was wrong, or printed its help
        return stop.code if isinstance(stop.code, int) else WRONG_USAGE
    if args.version:
        return _print_version()
    if args.command is None:
        parser.print_help(sys.stderr)
        return WRONG_USAGE
    try:
        status: int = args.run(args)
    except TrackerError as refusal:
        print(f"pack-tracker: {refusal}", file=sys.stderr)
        return REFUSED
    except (BrokenPipeError, KeyboardInterrupt):
        raise
    except OSError as error:
        if error.filename is None and error.errno in _OUTPUT_FAILS:
            raise
        return _tell_fault(error, args.command)
    except Exception as fault:  # noqa: BLE001  the last door: a person never meets a traceback
        return _tell_fault(fault, args.command)
    return status


def _tell_fault(fault: Exception, command: str) -> int:
    from tracker.cli.fault import report_fault

    print(f"pack-tracker: {report_fault(fault, command)}", file=sys.stderr)
    return REFUSED


def _print_version() -> int:
    from importlib.metadata import version

    print(f"pack-tracker {version('pack-health-tracker')}")
    return DONE


def _keep_negative_numbers(words: list[str]) -> list[str]:
    """Join '--pack-c -5,5' to '--pack-c=-5,5', and '--top -4k7': argparse knows a negative number only by its decimal point."""
    joined: list[str] = []
    for word in words:
        if joined and joined[-1].startswith("--") and "=" not in joined[-1] and _NEGATIVE.fullmatch(word):
            joined[-1] += f"={word}"
        else:
            joined.append(word)
    return joined


def _replace_closed_streams() -> None:
    """Where whoever started us closed a stream, Python has none, and what is meant for the one would land in the other."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(os.open(os.devnull, os.O_WRONLY), "w", encoding="utf-8"))


def _never_fail_on_letters() -> None:
    """Let a terminal that lacks a letter show a stand-in instead of stopping the program."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")


def _discard_output() -> None:
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, sys.stdout.fileno())
    except (OSError, ValueError):  # standard output is not a file of the system's, as in a test
        pass
    finally:
        os.close(nowhere)


if __name__ == "__main__":
    sys.exit(main())
