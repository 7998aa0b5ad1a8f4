"""Serving over https for real: the program by itself, hands shaken with it as a phone would, and stopped by Ctrl-C."""

from __future__ import annotations

import base64
import hashlib
import http.client
import os
import signal
import socket
import ssl
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from dashboard.access import Access, access_for
from dashboard.app import create_app
from dashboard.certificates import home_made
from dashboard.machine import HOME_NETWORKS, in_address, is_home, own_addresses, own_names
from dashboard.serving import phone_addresses
from tests.dashboard.conftest import Launch
from tests.dashboard.fakes import club_services, empty_services
from tests.dashboard.test_browser import AXE, RUN_AXE
from tests.tracker.cli.conftest import Command
from tests.tracker.cli.conftest import at_home as at_home
from tests.tracker.cli.conftest import run as run

PASSWORD = "pond and paddle"
SECURE = {"wsgi.url_scheme": "https"}


@dataclass(frozen=True)
class Serving:
    """The program as it serves, and what it said."""

    process: subprocess.Popen[str]
    port: int
    said: str
    data: Path

    def ask(self, path: str, *, trusting: str | None = None, name: str = "localhost", **more: str) -> tuple[int, dict[str, str], bytes]:
        """One request over https, trusting that authority alone; over plain http where there is none."""
        connection: http.client.HTTPConnection
        if trusting is None:
            connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        else:
            connection = http.client.HTTPSConnection(name, self.port, timeout=20, context=ssl.create_default_context(cadata=trusting))
        connection.request(more.pop("method", "GET"), path, headers=more)
        answer = connection.getresponse()
        body = answer.read()
        connection.close()
        return answer.status, {name.lower(): value for name, value in answer.getheaders()}, body

    def authority(self) -> str:
        """The certificate as the page hands it out, read as a phone does."""
        status, headers, der = self.ask("/certificate/authority.crt")
        assert (status, headers["content-type"]) == (200, "application/x-x509-ca-cert")
        assert b"PRIVATE" not in der
        return x509.load_der_x509_certificate(der).public_bytes(Encoding.PEM).decode()


@pytest.fixture(scope="module")
def serving(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    home = tmp_path_factory.mktemp("home")
    process = subprocess.Popen(
        [sys.executable, "-m", "tracker.cli.main", "serve", "--https", "--host", "0.0.0.0", "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "XDG_DATA_HOME": str(home), "HOME": str(home), "PACK_TRACKER_PASSWORD": PASSWORD, "PACK_TRACKER_DATABASE": ""},
    )
    assert process.stdout is not None
    said = ""
    while line := process.stdout.readline():
        said += line
        if line.startswith("Stop it"):
            break
    else:
        pytest.fail(f"it did not start: {said} {process.communicate()[1]}")
    yield Serving(process, int(said.split(":")[2].split("/")[0]), said, home)
    if process.poll() is None:
        process.kill()
    process.communicate()


def test_a_phone_that_trusts_the_authority_is_served_and_one_that_does_not_is_not(serving: Serving) -> None:
    authority = serving.authority()
    for name in ("localhost", "127.0.0.1"):
        assert serving.ask("/healthz", trusting=authority, name=name)[0] == 200
    with pytest.raises(ssl.SSLCertVerificationError):
        ssl.create_default_context().wrap_socket(socket.create_connection(("127.0.0.1", serving.port), 20), server_hostname="localhost")
    with pytest.raises(ssl.SSLCertVerificationError, match="mismatch"):
        ssl.create_default_context(cadata=authority).wrap_socket(
            socket.create_connection(("127.0.0.1", serving.port), 20), server_hostname="evil.example"
        )


def test_it_says_where_and_with_which_fingerprint(serving: Serving) -> None:
    digits = hashlib.sha256(ssl.PEM_cert_to_DER_cert(serving.authority())).hexdigest().upper()
    assert digits in serving.said.replace(":", "").replace("\n  ", "")
    assert f"https://127.0.0.1:{serving.port}/" in serving.said
    assert f":{serving.port}/certificate" in serving.said
    shown = serving.ask("/certificate")[2].decode()
    assert digits in "".join(sign for sign in shown.split('class="fingerprint">')[1].split("</p>")[0].replace("span", "") if sign.isalnum())


def test_over_plain_http_there_is_the_certificate_and_the_way_to_https_alone(serving: Serving) -> None:
    status, headers, _ = serving.ask("/pack/Tug%201?run=x%2B1")
    assert (status, headers["location"]) == (302, f"https://127.0.0.1:{serving.port}/pack/Tug%201?run=x%2B1")
    assert serving.ask("/sign-in", method="POST")[0] == 403
    assert serving.ask("/assets/frame.js")[0] == 302
    assert serving.ask("/certificate", Host="evil.example")[0] == 400
    assert "set-cookie" not in serving.ask("/certificate")[1]


def test_over_https_everything_is_behind_the_password_still(serving: Serving) -> None:
    authority = serving.authority()
    status, headers, _ = serving.ask("/", trusting=authority, Accept="text/html")
    assert (status, headers["location"]) == (302, "/sign-in?next=%2F")
    assert serving.ask("/_dash-layout", trusting=authority)[0] == 401
    assert serving.ask("/healthz", trusting=authority, Host="evil.example")[0] == 400
    assert "strict-transport-security" not in headers


def test_the_silent_and_the_rude_keep_nobody_waiting(serving: Serving) -> None:
    """More of them than there are threads; each kept a thread for ten seconds, this request would wait for fifty, and it waits for twenty."""
    authority = serving.authority()
    silent = [socket.create_connection(("127.0.0.1", serving.port), 20) for _ in range(40)]
    for rubbish in (b"\x16", b"\x16\x03\x01\xff\xff" + b"\0" * 300, b"\x80\x01", b"\0" * 5000, b"GET / HTTP/1.1\r\n\r\n" * 3):
        rude = socket.create_connection(("127.0.0.1", serving.port), 20)
        rude.sendall(rubbish)
        rude.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
        rude.close()
    assert serving.ask("/healthz", trusting=authority)[0] == 200
    for one in silent:
        one.close()
    assert serving.process.poll() is None


def test_in_a_browser_that_trusts_it_the_page_is_a_secure_context(serving: Serving, launch: Launch) -> None:
    pem = ssl.get_server_certificate(("127.0.0.1", serving.port))
    key = x509.load_pem_x509_certificate(pem.encode()).public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    trusting = f"--ignore-certificate-errors-spki-list={base64.b64encode(hashlib.sha256(key).digest()).decode()}"
    with launch(trusting) as browser:
        page = browser.new_page()
        # Plain http, as a person types it, leads to https by itself.
        page.goto(f"http://127.0.0.1:{serving.port}/safety")
        page.fill("#password", PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_selector("#page h1")
        assert page.url == f"https://127.0.0.1:{serving.port}/safety"
        assert page.evaluate("window.isSecureContext && 'serviceWorker' in navigator")
        [cookie] = [one for one in page.context.cookies() if one.get("name") == "pack_tracker"]
        assert cookie.get("secure")
        narrow = browser.new_context(viewport={"width": 320, "height": 800}, color_scheme="dark", bypass_csp=True).new_page()
        narrow.goto(f"http://127.0.0.1:{serving.port}/certificate")
        assert narrow.evaluate("document.documentElement.scrollWidth") == 320
        narrow.add_script_tag(content=AXE)
        assert narrow.evaluate(RUN_AXE) == []


@pytest.mark.skipif(os.name != "posix", reason="signals are sent as POSIX systems do")
def test_it_stops_cleanly_with_visitors_still_there(serving: Serving) -> None:
    """The last of this file: it ends the program the others ask."""
    idle = socket.create_connection(("127.0.0.1", serving.port), 20)
    context = ssl.create_default_context(cadata=serving.authority())
    kept = http.client.HTTPSConnection("localhost", serving.port, timeout=20, context=context)
    kept.request("GET", "/healthz")
    assert kept.getresponse().read() == b"ok\n"
    serving.process.send_signal(signal.SIGINT)
    _, err = serving.process.communicate(timeout=30)
    assert (serving.process.returncode, err) == (0, "")
    idle.close()
    kept.close()
    files = sorted((serving.data / "pack-health-tracker" / "https").iterdir())
    assert [file.name for file in files] == ["authority.pem", "server.pem"]


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (["--key", "k.pem"], "--certificate is missing"),
        (["--certificate", "c.pem"], "--key is missing"),
        (["--https", "--certificate", "c.pem"], "--key is missing"),
        (["--certificate", "c.pem", "--key", "k.pem"], "c.pem cannot be read"),
    ],
)
def test_half_a_certificate_is_refused(run: Command, argv: list[str], words: str) -> None:
    said = run("serve", *argv)
    assert said.status == 1
    assert said.err.startswith("pack-tracker: ")
    assert words in said.err


def test_beyond_this_machine_https_needs_the_password_as_well(run: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("PACK_TRACKER_PASSWORD", raising=False)
    said = run("serve", "--https", "--host", "0.0.0.0")
    assert said.status == 1
    assert "PACK_TRACKER_PASSWORD" in said.err


def test_under_ones_own_certificate_its_names_are_answered_to_and_none_is_handed_out() -> None:
    client = create_app(empty_services(), access_for("127.0.0.1", None, https=True, also={"packs.club.example"})).server.test_client()
    assert client.get("/healthz", headers={"Host": "packs.club.example"}, environ_overrides=SECURE).status_code == 200
    assert client.get("/healthz", headers={"Host": "club.example"}, environ_overrides=SECURE).status_code == 400
    assert client.get("/certificate", environ_overrides=SECURE).status_code == 404
    assert client.get("/certificate").status_code == 302


def test_without_https_there_is_no_certificate_page_and_no_secure_cookie() -> None:
    client = create_app(club_services(), Access(password=PASSWORD)).server.test_client()
    assert client.get("/certificate").status_code == 401
    assert "Secure" not in client.post("/sign-in", data={"password": PASSWORD}).headers["Set-Cookie"]
    assert client.get("/certificate").status_code == 404


def test_a_page_over_plain_http_cannot_change_anything_over_https() -> None:
    client = create_app(empty_services(), Access(https=True)).server.test_client()
    for origin, status in (("http://localhost", 403), ("https://localhost", 500)):
        answer = client.post("/_dash-update-component", json={}, headers={"Origin": origin}, environ_overrides=SECURE)
        assert answer.status_code == status, answer.text


def test_the_page_escapes_the_names_and_is_open_before_sign_in(tmp_path: Path) -> None:
    authority = home_made(tmp_path / "https", {"pits"}, ())
    client = create_app(club_services(), Access(password=PASSWORD, authority=authority)).server.test_client()
    answer = client.get("/certificate")
    assert answer.status_code == 200
    assert authority.fingerprint[:11] in answer.text
    assert "script-src 'self'" in answer.headers["Content-Security-Policy"]
    assert client.get("/").status_code in {302, 401}


def test_the_addresses_for_a_phone_are_none_on_loopback_and_those_the_certificate_holds() -> None:
    assert phone_addresses("127.0.0.1", "https://127.0.0.1:8050/") == ()
    assert phone_addresses("192.168.1.20", "https://192.168.1.20:8050/") == ("https://192.168.1.20:8050/",)
    found = phone_addresses("::", "https://[::1]:8050/", home_made=True)
    assert [one for one in own_addresses() if f"https://{in_address(one)}:8050/" in found] == [
        one for one in own_addresses() if is_home(one)
    ]
    assert found[-1].split("/")[2].split(":")[0] in own_names()


def test_home_networks_are_none_of_the_internet() -> None:
    """RFC 1918, 3927, 4193 and 6598, as the registries behind `ipaddress` have them."""
    assert [str(network) for network in HOME_NETWORKS if network.is_global or network.is_multicast] == []
