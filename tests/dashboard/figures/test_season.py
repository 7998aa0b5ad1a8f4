"""The calendar of the season: every run on its day, by the clock of this place, shaped by the worst of the day."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from dashboard.components.season import season_section
from dashboard.figures import season
from dashboard.figures.season import MOST_ROWS, WEEKS, season_days, season_rows, season_sentence, season_table
from tests.dashboard.fakes import HOSTILE
from tests.dashboard.figures.checked import checked
from tests.dashboard.words import words
from tracker.domain.season import SeasonRun

season_figure = checked(season.season_figure)


def run(when: datetime, grade: str | None = "fine", pack: str = "Tug 1") -> SeasonRun:
    return SeasonRun(pack=pack, started_at=when.astimezone(UTC), grade=grade)


def test_runs_of_a_day_are_one_place_with_the_worst_grade() -> None:
    noon = datetime(2025, 9, 16, 12).astimezone()
    [one] = season_days([run(noon), run(noon + timedelta(hours=1), "deep"), run(noon + timedelta(hours=2), None, "Tug 2")])
    assert (one.day, one.runs, one.packs, one.grade) == (date(2025, 9, 16), 3, ("Tug 1", "Tug 2"), "deep")


def test_a_day_is_that_of_the_clock_here() -> None:
    just_past_midnight = datetime(2025, 9, 16, 0, 5).astimezone()
    assert season_days([run(just_past_midnight)])[0].day == date(2025, 9, 16)


def test_every_day_stands_in_its_week_and_weekday() -> None:
    start = datetime(2025, 1, 1, 12).astimezone()
    days = season_days([run(start + timedelta(days=step)) for step in range(0, 300, 3)])
    figure = season_figure(days)
    drawn = [trace for trace in figure.data if trace.text is not None]
    assert season_rows(days) == len(drawn) == 2
    assert sum(len(trace.x) for trace in drawn) == len(days)
    newest = drawn[0]
    assert newest.x[-1] == WEEKS - 1
    assert newest.y[-1] == days[-1].day.weekday()


def test_long_ago_is_left_out_and_the_sentence_speaks_of_what_is_drawn() -> None:
    now = datetime(2025, 9, 16, 12).astimezone()
    days = season_days([run(now - timedelta(days=4000), "damaging"), run(now - timedelta(days=200)), run(now)])
    assert season_rows(days) == MOST_ROWS
    said = season_sentence(days)
    assert said.startswith("2 runs on 2 days")
    assert "None went too deep" in said
    assert "Longest without a run" in said
    assert len(season_table(days)[1]) == 2


def test_hostile_names_stay_text_and_many_are_counted() -> None:
    noon = datetime(2025, 9, 16, 12).astimezone()
    figure = season_figure(season_days([run(noon, pack=HOSTILE), *(run(noon, pack=f"Pack {number}") for number in range(9))]))
    [text] = figure.data[1].text
    assert "<script>" not in text
    assert text.endswith("and 4 more")


def test_nothing_is_drawn_without_runs() -> None:
    assert season_section([]) is None


def test_the_key_names_the_grades_that_occur() -> None:
    section = season_section([run(datetime(2025, 9, 16, tzinfo=UTC), "damaging"), run(datetime(2025, 9, 17, tzinfo=UTC), None)])
    assert section is not None
    told = words(section)
    assert "damaging" in told
    assert "not enough written down" in told
    assert "into the reserve" not in told
