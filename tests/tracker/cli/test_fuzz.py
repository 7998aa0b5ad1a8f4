"""Thousands of command lines, most of them nonsense and others each time: each ends with 0, 1 or 2 and in words."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.tracker.cli.conftest import Command
from tests.tracker.small_logbook import FILES
from tracker.cli.log import CHARGE_FIELDS, RUN_FIELDS, Field
from tracker.cli.main import build_parser, main

SLOW = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]

# Nothing that leads out of the test's own folder; no NUL, which no system can hand over.
TEXT = st.text(st.characters(blacklist_characters="\0/\\~"), max_size=30).filter(lambda text: ".." not in text)
NUMBER = st.one_of(
    st.integers(-(10**9), 10**9).map(str),
    st.floats().map(str),
    st.decimals(places=2, allow_nan=False).map(lambda n: str(n).replace(".", ",")),
)
TIME = st.one_of(st.datetimes().map(lambda time: time.isoformat()), st.just("2025-04-05T10:00:00Z"))
VALUE = st.one_of(
    TEXT,
    NUMBER,
    TIME,
    st.lists(NUMBER, max_size=4).map(" ".join),
    st.sampled_from(
        [
            "Tug A",
            "Groomer",
            "Pond tug",
            "4.18 4.17",
            "8.36",
            "3300",
            "full",
            "driver",
            "small",
            "small/runs.csv",
            "1e308",
            "copy.sqlite3",
            "small/bench.csv",
            "Left",
            "4k7",
            "0R47",
        ]
    ),
)
COMMAND = st.sampled_from(
    [
        "import",
        "export",
        "backup",
        "restore",
        "log",
        "run",
        "charge",
        "packs",
        "assess",
        "health",
        "bench",
        "divider",
        "cutoff",
        "log run",
        "log charge",
    ]
)
OPTION = st.sampled_from(
    [
        "--json",
        "--all",
        "--pack",
        "--update",
        "--dry-run",
        "--help",
        "--version",
        "--retired",
        "--replace",
        "--preview",
        "--new-vehicle",
        "--database",
        "--controller",
        "--meter-within",
        "--delay-s",
        "--top",
        "--bottom",
        "--ratio",
        "--trips-at",
        "--wanted",
        "--series",
        "--place",
        "--part-tolerance",
        "--risk",
        "--burst-a",
        "-h",
        "--",
    ]
    + [field.option for field in (*RUN_FIELDS, *CHARGE_FIELDS)]
)


WORDS = st.lists(st.one_of(COMMAND, OPTION, VALUE), max_size=6)


@pytest.fixture(autouse=True, scope="module")
def one_parser() -> Iterator[None]:
    """Built once and not for each of thousands of command lines, where it would take most of the time: it is the same each time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("tracker.cli.main.build_parser", cache(build_parser))
        yield


@pytest.fixture
def in_filled_folder(filled: Command) -> Command:
    return filled


def check(argv: list[str]) -> None:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(argv)
    assert status in (0, 1, 2), argv
    said = err.getvalue()
    assert "inside the program" not in said, said
    assert "Traceback" not in said
    if status:
        assert said
    if status == 1:
        assert out.getvalue() == ""


@pytest.mark.usefixtures("in_filled_folder")
@settings(max_examples=1000, deadline=None, suppress_health_check=SLOW)
@given(words=st.one_of(WORDS, st.builds(lambda command, words: [command, *words], COMMAND, WORDS)))
def test_any_words(words: list[str]) -> None:
    argv = [part for word in words for part in (word.split() if word.startswith("log ") else [word])]
    # Serving would not end; database URLs are tried elsewhere, for some of them name servers.
    check([word for word in argv if word not in {"serve", "demo"} and "://" not in word])


@pytest.mark.usefixtures("in_filled_folder")
@settings(max_examples=250, deadline=None, suppress_health_check=SLOW)
@given(
    given_run=st.dictionaries(st.sampled_from(RUN_FIELDS), VALUE, max_size=8),
    flags=st.sets(st.sampled_from(["--json", "--preview", "--replace", "--new-vehicle"])),
)
def test_any_run(given_run: dict[Field, str], flags: set[str]) -> None:
    check(_log("run", given_run, flags, {"pack": "Tug A", "run_min": "12"}))


@pytest.mark.usefixtures("in_filled_folder")
@settings(max_examples=300, deadline=None, suppress_health_check=SLOW)
@given(
    given_charge=st.dictionaries(st.sampled_from(CHARGE_FIELDS), VALUE, max_size=6), flags=st.sets(st.sampled_from(["--json", "--replace"]))
)
def test_any_charge(given_charge: dict[Field, str], flags: set[str]) -> None:
    check(_log("charge", given_charge, flags, {"pack": "Tug A"}))


OHMS = st.one_of(st.from_regex(r"[0-9]{0,3}[RkM.,]?[0-9]{0,3}", fullmatch=True), VALUE)
ASKED = st.fixed_dictionaries(
    {"trips-at": NUMBER, "wanted": NUMBER},
    optional={
        "top": OHMS,
        "bottom": OHMS,
        "ratio": NUMBER,
        "part-tolerance": NUMBER,
        "reference-tolerance": NUMBER,
        "bench-within": NUMBER,
    },
)


@settings(max_examples=300, deadline=None, suppress_health_check=SLOW)
@given(
    asked=ASKED,
    small=st.fixed_dictionaries({}, optional={"trips-at": st.floats(1, 12).map(str), "wanted": st.floats(1, 12).map(str)}),
    flags=st.sets(st.sampled_from(["--json", "--series=E12", "--series=E192", "--place=series_top", "--place=across_top"])),
)
def test_any_divider(at_home: Path, asked: dict[str, str], small: dict[str, str], flags: set[str]) -> None:
    check(["divider", *(f"--{name}={value}" for name, value in {**asked, **small}.items()), *sorted(flags)])


WISHES = st.one_of(NUMBER, st.floats(-50, 100).map(str), st.floats(0, 1).map(str), VALUE)


@pytest.mark.usefixtures("in_filled_folder")
@settings(max_examples=40, deadline=None, suppress_health_check=SLOW)
@given(
    pack=st.one_of(st.sampled_from(["Tug A", "Groomer", "Old one"]), VALUE),
    vehicle=st.one_of(st.just("Pond tug"), VALUE),
    wished=st.dictionaries(st.sampled_from(["risk", "pack-c", "mean-a", "burst-a"]), WISHES, max_size=3),
    flags=st.sets(st.just("--json")),
)
def test_any_cutoff(pack: str, vehicle: str, wished: dict[str, str], flags: set[str]) -> None:
    check(["cutoff", *(f"--{name}={value}" for name, value in wished.items()), *sorted(flags), "--", pack, vehicle])


@pytest.mark.usefixtures("in_filled_folder")
@settings(max_examples=300, deadline=None, suppress_health_check=SLOW)
@given(data=st.data(), kind=st.sampled_from(sorted(FILES)), flags=st.sets(st.sampled_from(["--json", "--update", "--dry-run"])))
def test_any_change_to_a_file(data: st.DataObject, kind: str, flags: set[str]) -> None:
    text = FILES[kind]
    start = data.draw(st.integers(0, len(text)))
    end = min(len(text), start + data.draw(st.integers(0, 12)))
    Path("changed.csv").write_text(text[:start] + data.draw(VALUE) + text[end:], encoding="utf-8", errors="surrogatepass")
    check(["import", "changed.csv", *sorted(flags)])
    check(["bench", "changed.csv"])


@pytest.mark.usefixtures("in_filled_folder")
@settings(max_examples=200, deadline=None, suppress_health_check=SLOW)
@given(content=st.binary(max_size=300), command=st.sampled_from(["import", "restore", "bench"]))
def test_any_bytes_as_a_file(content: bytes, command: str) -> None:
    Path("bytes").write_bytes(content)
    check([command, "bytes"])


@settings(max_examples=200, deadline=None, suppress_health_check=SLOW)
@given(
    url=st.one_of(
        TEXT, st.builds("{}:{}".format, st.sampled_from(["sqlite", "sqlite+pysqlite", "mysql", "oracle", "postgresql+none"]), TEXT)
    )
)
def test_any_database_url(at_home: Path, url: str) -> None:
    check(["--database", url, "packs"])


def _log(kind: str, given_fields: dict[Field, str], flags: set[str], least: dict[str, str]) -> list[str]:
    values = {field.column: value for field, value in given_fields.items()}
    options = [f"--{column.replace('_', '-')}={value}" for column, value in {**least, **values}.items()]
    return ["log", kind, *options, *sorted(flags)]
