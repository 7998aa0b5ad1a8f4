"""Which files are meant by the paths a person names."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from tracker.intake.refusals import Refusals
from tracker.intake.text import shown

_MOST_NAMED = 10


def files_of(given: Sequence[Path], refusals: Refusals, warnings: list[str]) -> Iterator[Path]:
    """Yield the files named and the CSV files in the folders named, each once; note paths that lead nowhere."""
    seen: set[Path] = set()
    for path in given:
        try:
            found = _files(path, refusals, warnings)
        except (OSError, ValueError) as error:
            refusals.add(_label(path), 1, "file", f"cannot be looked at ({getattr(error, 'strerror', None) or error}); check the path.")
            continue
        for file in found:
            real = file.resolve()
            if real not in seen:
                seen.add(real)
                yield file


def _files(path: Path, refusals: Refusals, warnings: list[str]) -> list[Path]:
    # A path with a character no file name may hold is told apart by stat raising, not by exists saying no.
    if path.is_dir():
        return _in_folder(path, refusals, warnings)
    if path.is_file():
        return [path]
    what = "is not an ordinary file; name a CSV file or a folder of them." if path.exists() else "is not there; check the path."
    refusals.add(_label(path), 1, "file", what)
    return []


def _in_folder(folder: Path, refusals: Refusals, warnings: list[str]) -> list[Path]:
    entries = sorted(entry for entry in folder.iterdir() if not entry.name.startswith("."))
    files = [entry for entry in entries if entry.suffix.lower() == ".csv" and entry.is_file()]
    if not files:
        refusals.add(_label(folder), 1, "file", "is a folder without any CSV file; name a folder that holds files ending in .csv.")
        return []
    others = [entry.name for entry in entries if entry not in files]
    if others:
        more = f" and {len(others) - _MOST_NAMED:,} more" if len(others) > _MOST_NAMED else ""
        listed = ", ".join(shown(other) for other in others[:_MOST_NAMED])
        warnings.append(f"{_label(folder)}: not read, as only files ending in .csv are: {listed}{more}.")
    return files


def _label(path: Path) -> str:
    return str(path)
