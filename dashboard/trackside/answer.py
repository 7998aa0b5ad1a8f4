"""What the page Log answers: what a run took, before and after it is saved, and what was found."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from html import escape

from dashboard.addresses import cutoff_address, pack_address
from dashboard.theme import GOAL_WORDS, clock, counted, interval, mah, minutes
from dashboard.trackside.markup import attributes, grade_html, name_html, said, sentence, severity_html
from tracker.domain.changes import Change
from tracker.domain.results import CellDepth, Estimate, Finding, RunEstimate
from tracker.domain.session import Charge, Run

WAITING = "What the run took will stand here as soon as the minutes and the volts after are in."
CHARGE_WAITING = "What the charge shows will stand here."
ANOTHER = '<a class="button main" data-another href="/log">Log another</a>'
BELIEVED = "± spans hold the true value nine times in ten."


def run_answer(estimate: RunEstimate) -> str:
    """What a run took, of the pack and of each cell, and what to heed."""
    used = estimate.used_ah
    if isinstance(used, Estimate):
        head = f'<p class="took">Took <strong>{interval(used, "charge")}</strong></p>'
    else:
        head = f"<p>What the pack took cannot be told yet. {said(used.why)}</p>"
    return head + _cells(estimate.cells) + findings_html(estimate.findings)


def charge_answer(charge: Charge, findings: Sequence[Finding]) -> str:
    """What a charge shows before it is saved."""
    heard = f"<p>{_charge_words(charge)}</p>" if charge.put_back_ah is not None or charge.goal else f"<p>{CHARGE_WAITING}</p>"
    return heard + (findings_html(findings) or ("<p>These readings bring up no warning.</p>" if charge.put_back_ah is not None else ""))


def findings_html(findings: Sequence[Finding]) -> str:
    """Findings as a list, most pressing first; each with its reason folded under it."""
    order = ("stop", "caution", "note")
    ranked = sorted(findings, key=lambda finding: order.index(finding.severity) if finding.severity in order else len(order))
    items = "".join(_finding(finding) for finding in ranked)
    return f'<ul class="findings">{items}</ul>' if items else ""


def saved_run(change: Change, run: Run, estimate: RunEstimate) -> str:
    """That a run is saved, and what it took; one line to read at a glance, the rest under it."""
    used = estimate.used_ah
    took = f" took {interval(used, 'charge')}" if isinstance(used, Estimate) else ". What it took cannot be told yet"
    worst = _worst_words(estimate.cells)
    line = f"Saved: {name_html(run.pack)}{took}{f', {worst}' if worst else ''}."
    detail = f'<p class="quiet">{minutes(run.run_s)}, started {clock(run.started_at)}.</p>'
    more = "" if isinstance(used, Estimate) else f"<p>{said(used.why)}</p>"
    detail += more + _cells(estimate.cells) + findings_html(estimate.findings)
    return _saved(change, run.pack, line, detail, cutoff_address(run.pack, run.vehicle))


def saved_charge(change: Change, charge: Charge, findings: Sequence[Finding]) -> str:
    """That a charge is saved, and what came to light with it."""
    line = f"Saved: {name_html(charge.pack)} charged. {_charge_words(charge)}".rstrip()
    return _saved(change, charge.pack, line, f'<p class="quiet">Finished {clock(charge.finished_at)}.</p>' + findings_html(findings))


def gone(change: Change) -> str:
    """That something was saved once and is not there now."""
    since = "It has been taken back since." if change.undone else "It has been changed or removed since."
    return f'<div class="saved"><h2 tabindex="-1">Saved before</h2><p>{said(sentence(change.words))} {since}</p>{ANOTHER}</div>'


def taken_back(change: Change) -> str:
    """That a change is undone."""
    return (
        f'<div class="saved"><h2 tabindex="-1">Taken back</h2><p>{said(sentence(change.words))} It is no longer in the logbook.</p></div>'
    )


def trouble_html(words: str) -> str:
    """Something that could not be done."""
    return f'<div class="trouble" role="alert"><p>{said(sentence(words))}</p></div>'


def problem_words(problems: Mapping[str, str]) -> dict[str, str]:
    """What is wrong, by field, as sentences."""
    return {name: sentence(words) for name, words in problems.items()}


def _finding(finding: Finding) -> str:
    """A stop in full; of what presses less the first sentence, and the rest when it is tapped: the page is read standing."""
    first, rest = (finding.message, "") if finding.severity == "stop" else _first_sentence(finding.message)
    folded = [rest, finding.why, f"Source: {finding.source}" if finding.source else ""]
    more = "".join(f"<p>{said(words)}</p>" for words in folded if words)
    return (
        f'<li class="finding finding-{escape(finding.severity)}"><p>{severity_html(finding.severity)} {said(first)}</p>'
        f"<details><summary>{'What to do, and why' if rest else 'Why'}</summary>{more}</details></li>"
    )


def _first_sentence(words: str) -> tuple[str, str]:
    """The first sentence, and the rest."""
    first, *rest = re.split(r"(?<=[.?]) (?=[A-Z])", words, maxsplit=1)
    return first, " ".join(rest)


def _saved(change: Change, pack: str, line: str, detail: str, cutoff: str = "") -> str:
    undo = (
        '<form method="post" action="/log/undo" class="undo">'
        f'<input type="hidden" name="change"{attributes(value=change.id)}><button type="submit">Undo</button></form>'
    )
    links = f'<a class="button"{attributes(href=pack_address(pack))}>The pack</a>'
    links += f'<a class="button"{attributes(href=cutoff)}>Its cutoff</a>' if cutoff else ""
    state = "" if not change.undone else "<p>It has been taken back since.</p>"
    return f'<div class="saved"><h2 tabindex="-1">{line}</h2>{state}{ANOTHER}<div class="after">{"" if change.undone else undo}{links}</div>{detail}</div>'


def _cells(cells: Sequence[CellDepth]) -> str:
    """One line a cell: its grade, and what is left in it."""
    if not any(cell.grade for cell in cells):
        return ""
    lines = "".join(f"<li><span>Cell {cell.cell}</span> {grade_html(cell.grade)} {_left(cell)}</li>" for cell in cells)
    return f'<ul class="depths">{lines}</ul>'


def _left(cell: CellDepth) -> str:
    return f'<span class="left">{interval(cell.soc_after, "share")} left</span>' if isinstance(cell.soc_after, Estimate) else ""


def _worst_words(cells: Sequence[CellDepth]) -> str:
    """The cells of the worst grade, or that all are fine."""
    for grade, words in (("damaging", "driven to damage"), ("deep", "deep"), ("low", "into the reserve")):
        worst = [str(cell.cell) for cell in cells if cell.grade == grade]
        if worst:
            return f"{'cell' if len(worst) == 1 else 'cells'} {' and '.join([', '.join(worst[:-1]), worst[-1]] if len(worst) > 1 else worst)} {words}"
    return f"{counted(len(cells), 'cell')} fine" if cells and all(cell.grade == "fine" for cell in cells) else ""


def _charge_words(charge: Charge) -> str:
    back = f"Put back {mah(charge.put_back_ah)}." if charge.put_back_ah is not None else ""
    return f"{back} {f'Charged to: {GOAL_WORDS.get(charge.goal, charge.goal)}.' if charge.goal else ''}".strip()
