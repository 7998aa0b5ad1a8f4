"""The pages as words: what they say with much, with little and with nothing stored."""

from __future__ import annotations

from urllib.parse import quote

from dashboard.pages import pack, packs, safety, today
from tests.dashboard.fakes import HOSTILE, NAMES, club_services, empty_services
from tests.dashboard.words import every, words
from tracker.domain.results import Finding

CLUB, EMPTY = club_services(), empty_services()


def test_today_names_what_to_do_before_the_packs() -> None:
    said = words(today.layout(CLUB))
    assert said.index("Stop earlier, and raise") < said.index("Last run, ")


def test_today_has_one_row_for_every_pack_in_use() -> None:
    rows = [article for article in every(today.layout(CLUB), "Article") if article.className == "pack-row"]
    assert len(rows) == len(CLUB.packs.all()) == 8


def test_today_keeps_notes_under_the_fold() -> None:
    note = Finding(rule="r", severity="note", subject="Tug 1", message="Small thing.", why="So.")
    section = today.to_do(CLUB.packs.states(), [note])
    assert "Nothing presses" in words(section)
    assert "1 note" in words(section)


def test_an_empty_database_offers_the_first_steps() -> None:
    for layout in (today.layout, packs.layout):
        said = words(layout(EMPTY))
        assert "No packs yet" in said
        assert "pack-tracker demo" in said


def test_packs_lists_the_retired_apart() -> None:
    said = words(packs.layout(CLUB))
    assert said.index("Retired") < said.index("Old tug")
    assert "until 1 Sep 2024" in said


def test_every_name_leads_to_its_own_page() -> None:
    for name in NAMES:
        links = [link.href for link in every(today.layout(CLUB), "Link") if words(link) == name]
        assert links
        assert words(next(every(pack.layout(CLUB, segment=links[0].removeprefix("/pack/")), "H1"))) == name


def test_a_pack_that_is_not_there_is_said_so() -> None:
    said = words(pack.layout(CLUB, segment=quote("no such pack")))
    assert "No such pack" in said
    assert "no such pack" in said


def test_a_chosen_run_shows_how_its_evidence_voted() -> None:
    start = CLUB.packs.record("Groomer left").runs[-1].run.started_at
    page = pack.layout(CLUB, segment="Groomer%20left", run=start.isoformat())
    assert "counted 71 %" in words(page)
    assert len([row for row in every(page, "Tr") if getattr(row, "className", "") == "chosen"]) == 1


def test_a_run_that_is_not_there_is_said_so_and_the_page_still_shown() -> None:
    for run in ("1999-01-01T00:00:00+00:00", "nonsense"):
        said = words(pack.layout(CLUB, segment="Groomer%20left", run=run))
        assert "There is no run at the time in this address" in said
        assert "How deep each run went" in said


def test_only_the_newest_runs_are_listed_until_all_are_asked_for() -> None:
    def listed(**query: str) -> int:
        tables = every(pack.layout(CLUB, segment="Groomer%20left", **query), "Table")
        [table] = [one for one in tables if words(one.children[0]) == "Runs, newest first"]
        return len(list(every(table, "Tr"))) - 1

    assert listed() == 12
    assert listed(runs="all") == 64


def test_what_the_history_teaches_stands_between_the_depths_and_the_runs() -> None:
    page = pack.layout(CLUB, segment="Groomer%20left")
    heads = [words(head) for head in every(page, "H2")]
    learned = ["What its history says", "What each cell holds", "Resistance of each cell", "Its own voltage curve"]
    place = heads.index(learned[0])
    assert heads[place - 1 : place + 6] == ["How deep each run went", *learned, "The season", "Runs"]
    assert [chart.id for chart in every(page, "Graph")] == ["pack-depth", "pack-capacity", "pack-resistance", "pack-curve", "season"]


def test_what_is_not_learned_yet_is_said_with_the_way_to_it() -> None:
    said = words(pack.layout(CLUB, segment="Crawler%20six"))
    assert "Write down what the charger put back after a few runs" in said
    assert "What its history says" not in words(pack.layout(CLUB, segment=quote("never//used/", safe="")))


def test_without_any_estimate_there_is_no_chart_of_depths_and_the_reason_is_said() -> None:
    page = pack.layout(CLUB, segment="Crawler%20six")
    assert [chart.id for chart in every(page, "Graph")] == ["season"]
    assert "no voltage and no count was written down" in words(page)


def test_a_pack_never_run_says_how_to_begin() -> None:
    assert "No runs yet" in words(pack.layout(CLUB, segment=quote("never//used/", safe="")))


def test_unknown_words_in_the_address_change_nothing() -> None:
    assert words(today.layout(CLUB, services="x", utm="<b>")) == words(today.layout(CLUB))


def test_every_advice_names_who_says_so_and_local_rules_come_first() -> None:
    said = words(safety.layout(CLUB))
    assert said.index("rules of the place") < said.index("Stop using a pack")
    for _, advice in safety.SECTIONS:
        assert all(what and source for what, source in advice)


def test_hostile_text_is_text() -> None:
    page = pack.layout(CLUB, segment=quote(HOSTILE, safe=""))
    assert HOSTILE in words(page)
    for kind in ("Script", "Iframe", "Markdown"):
        assert list(every(page, kind)) == []
    ways = [link.href for link in every(page, "A")]
    assert ways
    assert all(way.startswith("/") and not way.startswith("//") and "<" not in way for way in ways)
