"""What holds for every test: one thread a process, long files first, and no skips where CI is true.

With CI set to true a skipped test has failed: what is not tested there is tested nowhere.
"""

from __future__ import annotations

import os
from collections.abc import Generator
from pathlib import Path

import pytest

# pytest keeps every core busy with a process; threads of the number libraries on top of that only get in each other's way.
# They look at this once, when they are first imported, which is after this file. Programs started by a test inherit it.
for _library in ("OPENBLAS", "OMP", "MKL"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")

MEASURED = Path(__file__).resolve().parents[1].parent / "shared" / "data"
"""Measurements that may lie beside a checkout; they are too large to be part of it."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that hold a test marked as long, so that no core waits for one of them at the end."""
    long = {item.path for item in items if item.get_closest_marker("long")}
    items.sort(key=lambda item: item.path not in long)


def may_skip(reason: str, *, strict: bool, measured_there: bool) -> bool:
    """Tell whether a test may be skipped for this reason."""
    return not strict or ("measured data" in reason and not measured_there)


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Turn a skip into a failure where none is allowed."""
    report = yield
    if report.skipped and not hasattr(report, "wasxfail"):
        refuse_skip(report)
    return report


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_make_collect_report(collector: pytest.Collector) -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """Do the same for a file skipped as a whole."""
    report = yield
    if report.skipped:
        refuse_skip(report)
    return report


def refuse_skip(report: pytest.TestReport | pytest.CollectReport) -> None:
    """Make a skipped report a failed one, unless its reason is good."""
    reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    if may_skip(reason, strict=os.environ.get("CI") == "true", measured_there=MEASURED.is_dir()):
        return
    report.outcome = "failed"
    report.longrepr = f"{report.nodeid} may not be skipped where CI is true. {reason}"


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print what tests have measured: under several workers nothing they print themselves is seen."""
    reports = [report for kind in ("passed", "failed") for report in terminalreporter.getreports(kind)]
    lines = [str(value) for report in reports for name, value in report.user_properties if name == "measured" and report.when == "call"]
    if lines:
        terminalreporter.section("measured")
        for line in lines:
            terminalreporter.write_line(line)
