"""Labels: what stands on them and in their codes, for any name and any way of coming here."""

from __future__ import annotations

import ipaddress
from collections.abc import Sequence
from datetime import date
from urllib.parse import parse_qs, urlsplit

import pytest
from flask.testing import FlaskClient

from dashboard.access import Access
from dashboard.addresses import labels_address, log_address
from dashboard.app import create_app
from dashboard.label_base import found_base, found_elsewhere, read_base, warning_about
from dashboard.label_sheet import LINE_HEIGHT, SIZES, code_or_words, label, name_fit, sheets
from dashboard.labels_page import labels_body
from tests.dashboard.fakes import HOSTILE, NAMES, club_services, empty_services
from tracker import chemistry
from tracker.domain.label import CellVoltages, PackLabel
from tracker.domain.pack import Pack
from tracker.errors import InputError
from tracker.services import open_services

BASE = "http://192.168.1.20:8050"
CELL = CellVoltages(full_v=4.2, storage_low_v=3.75, storage_high_v=3.85, floor_v=3.0)
MEDIUM = SIZES["medium"]
ODD_NAMES = (*NAMES, "<b>&\"'", "حزمة القارب ٢", "🚤" * 40, "W" * 200, "a b " * 50, "\u202eright to left", "e\u0301" * 30)


def made(name: str, **more: object) -> PackLabel:
    fields = {"chemistry": "lipo", "series": 2, "capacity_ah": 3.2} | more
    return PackLabel(pack=Pack(name=name, **fields), cell=CELL)  # type: ignore[arg-type]


def client_of(access: Access | None = None) -> FlaskClient:
    client: FlaskClient = create_app(club_services(), access).server.test_client()
    return client


def named(text: str) -> Sequence[str]:
    return [part.split("<")[0].split(">", 1)[1] for part in text.split('<p class="label-name"')[1:]]


def test_a_label_says_what_the_pack_is() -> None:
    written = label(made("Tug 1", parallel=2, continuous_c=30, acquired_on=date(2024, 3, 2)), MEDIUM, BASE).replace("\u00a0", " ")
    for words in (
        "Tug 1",
        "Lithium polymer",
        "2 cells in series, 2 in parallel, 3,200 mAh, 30 C",
        "Acquired 2 Mar 2024",
        "<dt>Cell full</dt><dd>4.20 V</dd>",
        "<dt>Cell storage</dt><dd>3.75 to 3.85 V</dd>",
        "<dt>Cell floor</dt><dd>3.00 V</dd>",
        "Maker’s instructions first",
    ):
        assert words in written
    assert " C<" not in label(made("Tug 1"), MEDIUM, BASE).replace("\u00a0", " ")


def test_the_voltages_are_those_of_the_packs_chemistry() -> None:
    with open_services("sqlite://") as services:
        services.packs.save(Pack(name="Six", chemistry="nimh", series=6, capacity_ah=4.2, retired_on=date(2025, 1, 1)))
        services.packs.save(Pack(name="Five", chemistry="lihv", series=2, capacity_ah=4.2))
        five, six = services.packs.labels()
    assert (five.pack.name, six.pack.name, six.pack.retired_on) == ("Five", "Six", date(2025, 1, 1))
    for one, key in ((five.cell, "lihv"), (six.cell, "nimh")):
        kind = chemistry.load(key)
        assert (one.full_v, one.floor_v) == (kind["full_v"], kind["floor_v"])
        assert (one.storage_low_v, one.storage_high_v) == (kind["storage_low_v"], kind["storage_high_v"])
        assert one.floor_v < one.storage_low_v < one.storage_high_v < one.full_v


@pytest.mark.parametrize("name", ODD_NAMES)
def test_any_name_stays_text(name: str) -> None:
    from html import unescape

    written = label(made(name), MEDIUM, BASE)
    assert "<script" not in written
    assert "<b>" not in written
    [shown] = named(written)
    assert unescape(shown) == name
    assert parse_qs(urlsplit(log_address(name)).query, strict_parsing=True) == {"pack": [name]}


@pytest.mark.parametrize("name", ODD_NAMES)
def test_a_names_letters_and_lines_stay_inside_its_place(name: str) -> None:
    for one in SIZES.values():
        font_mm, lines = name_fit(name, one)
        assert one.least_font_mm <= font_mm <= one.name_font_mm
        assert lines * font_mm * LINE_HEIGHT <= one.name_mm


def test_short_names_are_large_and_long_ones_small() -> None:
    fonts = [name_fit("n" * length, MEDIUM)[0] for length in (1, 8, 16, 40, 80, 200)]
    assert fonts[0] == MEDIUM.name_font_mm
    assert fonts == sorted(fonts, reverse=True)
    assert fonts[-1] == MEDIUM.least_font_mm


def test_a_sheet_of_each_size_fits_on_both_kinds_of_paper() -> None:
    """A4 is 210 × 297 mm (ISO 216), US Letter 215.9 × 279.4 mm (ANSI Y14.1); 10 mm of margin all round."""
    for size in SIZES.values():
        assert size.columns * size.width_mm <= 210 - 20
        assert size.rows * size.height_mm <= 279.4 - 20


@pytest.mark.parametrize(("count", "expected"), [(0, 0), (10, 1), (11, 2), (30, 3)])
def test_labels_go_on_as_many_sheets_as_they_need(count: int, expected: int) -> None:
    written = sheets([made(f"Pack {number}") for number in range(count)], MEDIUM, BASE)
    assert written.count("<ul ") == expected
    assert written.count('class="pack-label"') == count


def test_where_no_code_can_be_read_words_say_so() -> None:
    assert "Choose larger labels" in code_or_words("ü" * 100, SIZES["small"], BASE)
    assert "<svg" in code_or_words("ü" * 60, SIZES["large"], BASE)
    assert "too long for a code." in code_or_words("🚤" * 200, SIZES["large"], BASE)


@pytest.mark.parametrize(
    ("scheme", "host", "expected"),
    [
        ("http", "127.0.0.1:8050", "http://192.168.1.20:8050"),
        ("https", "localhost:8050", "https://192.168.1.20:8050"),
        ("http", "[::1]:9000", "http://192.168.1.20:9000"),
        ("http", "localhost", "http://192.168.1.20"),
        ("https", "pits.local:8050", "https://pits.local:8050"),
        ("http", "[fd00::5]:8050", "http://[fd00::5]:8050"),
    ],
)
def test_the_address_is_the_one_asked_under_or_this_machines(scheme: str, host: str, expected: str) -> None:
    assert found_base(scheme, host, ["192.168.1.20", "pits.local"]) == expected


def test_under_a_certificate_made_here_only_addresses_it_holds_are_proposed() -> None:
    addresses = [ipaddress.ip_address(text) for text in ("198.51.100.7", "fd00::5", "192.168.1.20")]
    assert found_elsewhere(addresses, {"pits", "pits.local"}, home_only=True) == ("192.168.1.20", "pits.local")
    assert found_elsewhere(addresses, {"pits"}, home_only=False) == ("198.51.100.7", "192.168.1.20")


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        (" http://Pits.local:8050/ ", "http://pits.local:8050"),
        ("https://packs.club.example/tracker/", "https://packs.club.example/tracker"),
        ("http://[fd00::5]:8050", "http://[fd00::5]:8050"),
    ],
)
def test_an_address_typed_is_taken(typed: str, read: str) -> None:
    assert read_base(typed) == read


@pytest.mark.parametrize(
    "typed",
    [
        "192.168.1.20",
        "javascript:alert(1)",
        "ftp://x",
        "http://",
        "http:// x",
        "http://u:p@host",
        "http://x?y",
        "http://x#y",
        "http://x:99999",
        "http://x:0",
        "http://[::",
        'http://x"><script>',
        "http://x/" + "y" * 300,
        "http://bücher.example",
        "//host",
    ],
)
def test_what_is_no_address_is_refused(typed: str) -> None:
    with pytest.raises(InputError, match=r"no address to print\. Write one like http://"):
        read_base(typed)


def test_a_warning_fits_the_address() -> None:
    own = {"192.168.1.20", "pits.local"}
    assert "lead a phone to itself" in warning_about("http://127.0.0.1:8050", reachable=True, own=own)
    assert "lead a phone to itself" in warning_about("http://localhost", reachable=True, own=own)
    assert "--host 0.0.0.0" in warning_about("http://192.168.1.20:8050", reachable=False, own=own)
    assert "another address now and then" in warning_about("http://192.168.1.20:8050", reachable=True, own=own)
    assert warning_about("http://pits.local:8050", reachable=True, own=own) == ""
    # Somebody's own server in front of it knows better who can reach it.
    assert warning_about("https://packs.club.example", reachable=False, own=own) == ""


def test_the_address_chooses_packs_size_and_base() -> None:
    client = client_of(Access(any_number=True))
    every = client.get("/labels").text
    assert len(named(every)) == 8
    assert "Old tug" in every
    assert "label-medium" in every
    some = client.get(labels_address(["Old tug", HOSTILE]) + "&size=large&base=http%3A%2F%2Fpits.local%3A8050").text
    assert named(some) == ["&lt;script&gt;alert(1)&lt;/script&gt; &quot;&amp;&#x27;/", "Old tug"]
    assert "label-large" in some
    assert 'value="http://pits.local:8050"' in some
    assert "Before printing" not in some


def test_what_is_wrong_in_the_address_is_said_and_nothing_is_printed_for_it() -> None:
    client = client_of()
    wrong = client.get("/labels?base=%22%3E%3Cscript%3E").text
    assert "is no address to print" in wrong
    assert "<script>" not in wrong.replace('<script src="/printing/labels.js" defer></script>', "")
    assert named(wrong) == []
    unknown = client.get("/labels?pack=No+such%3Cb%3E&pack=Tug+1&size=huge").text
    assert "No pack is named <bdi>No such&lt;b&gt;</bdi>" in unknown
    assert named(unknown) == ["Tug 1"]
    assert "nothing to print" in client.get("/labels?pack=nobody").text


def test_an_empty_logbook_says_what_to_do_first() -> None:
    answer = create_app(empty_services()).server.test_client().get("/labels")
    assert answer.status_code == 200
    assert "No packs yet" in answer.text


def test_labels_are_behind_the_password() -> None:
    client = client_of(Access(password="pond and paddle"))
    for path in ("/labels", "/printing/labels.css", "/printing/labels.js"):
        assert client.get(path).status_code in {302, 401}


def test_every_pack_retired_leaves_nothing_chosen() -> None:
    text = labels_body([made("Old", retired_on=date(2024, 1, 1))], (), MEDIUM, base=BASE)
    assert "None in use" in text
    assert "nothing to print" in text
