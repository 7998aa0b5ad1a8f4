"""The certificate authority made here: what it vouches for, who may read its key, when it is renewed (limits, round trips)."""

from __future__ import annotations

import ipaddress
import os
import ssl
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec

from dashboard.certificates import (
    HomeMade,
    Signed,
    dns_names,
    home_made,
    new_authority,
    server_certificate,
)
from dashboard.https import from_files, made_here
from dashboard.machine import Address
from tracker.errors import InputError

NOW = datetime.now(UTC)
NAMES = frozenset({"pits", "pits.local"})
HOME = ipaddress.ip_address("192.168.1.20")
OTHER_HOME = ipaddress.ip_address("10.4.5.6")
INTERNET = ipaddress.ip_address("198.51.100.7")

posix_alone = pytest.mark.skipif(os.name != "posix", reason="rights of files are as POSIX systems have them")


def shake_hands(server_file: Path, authority: x509.Certificate, host: str) -> str | None:
    """What the other side, trusting that authority alone, finds wrong with a server that has this certificate; None where nothing."""
    server = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    server.load_cert_chain(server_file)
    try:
        meet(server, authority, host)
    except ssl.SSLCertVerificationError as error:
        return error.verify_message
    return None


def meet(server: ssl.SSLContext, authority: x509.Certificate, host: str) -> int:
    """A whole TLS handshake in memory, and the number of the certificate the server showed."""
    client = ssl.create_default_context(cadata=authority.public_bytes(serialization.Encoding.PEM).decode())
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    sides = [
        client.wrap_bio(to_client, to_server, server_hostname=host),
        server.wrap_bio(to_server, to_client, server_side=True),
    ]
    waiting = list(sides)
    for _ in range(20):
        for side in list(waiting):
            try:
                side.do_handshake()
            except ssl.SSLWantReadError:
                continue
            waiting.remove(side)
        if not waiting:
            return x509.load_der_x509_certificate(sides[0].getpeercert(binary_form=True) or b"").serial_number
    pytest.fail("the handshake came to no end")


def made(folder: Path, *, now: datetime = NOW, names: frozenset[str] = NAMES, addresses: tuple[Address, ...] = ()) -> HomeMade:
    return home_made(folder / "https", names, addresses or (HOME,), now)


def serial(one: HomeMade) -> int:
    return x509.load_pem_x509_certificate(one.server_file.read_bytes()).serial_number


def test_the_names_and_home_addresses_are_vouched_for_and_no_others(tmp_path: Path) -> None:
    one = made(tmp_path, addresses=(HOME, INTERNET))
    for host in ("pits", "pits.local", "localhost", "127.0.0.1", "::1", str(HOME)):
        assert shake_hands(one.server_file, one.authority, host) is None, host
    for host in ("evil.example", str(OTHER_HOME), str(INTERNET), "127.0.0.2"):
        assert "mismatch" in str(shake_hands(one.server_file, one.authority, host)), host


@pytest.mark.parametrize("host", ["bank.example", "198.51.100.7"])
def test_a_stolen_key_cannot_vouch_for_a_stranger(tmp_path: Path, host: str) -> None:
    one = made(tmp_path)
    pem = (tmp_path / "https" / "authority.pem").read_bytes()
    key = serialization.load_pem_private_key(pem, password=None)
    assert isinstance(key, ec.EllipticCurvePrivateKey)
    number = None if host[0].isalpha() else ipaddress.ip_address(host)
    forged = server_certificate(Signed(one.authority, key), {host} if number is None else {"pits"}, {number} if number else (), NOW)
    file = tmp_path / "forged.pem"
    file.write_bytes(forged.pem())
    assert "permitted subtree violation" in str(shake_hands(file, one.authority, host))


def test_another_machines_certificate_is_not_believed(tmp_path: Path) -> None:
    one, other = made(tmp_path / "one"), made(tmp_path / "other")
    assert shake_hands(one.server_file, other.authority, "pits") is not None


@posix_alone
def test_nobody_else_may_read_the_keys(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        one = made(tmp_path)
    finally:
        os.umask(before)
    assert stat.S_IMODE(one.folder.stat().st_mode) == 0o700
    files = sorted(one.folder.iterdir())
    assert [file.name for file in files] == ["authority.pem", "server.pem"]
    assert [stat.S_IMODE(file.stat().st_mode) for file in files] == [0o600, 0o600]


@posix_alone
@pytest.mark.parametrize("name", ["authority.pem", "server.pem"])
def test_a_key_that_others_may_have_read_is_refused(tmp_path: Path, name: str) -> None:
    file = made(tmp_path).folder / name
    file.chmod(0o640)
    with pytest.raises(InputError, match="Other users of this machine may read the key"):
        made(tmp_path)


@pytest.mark.parametrize("spoilt", [b"", b"not a certificate", b"-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n"])
def test_a_spoilt_authority_is_refused_and_left_as_it_is(tmp_path: Path, spoilt: bytes) -> None:
    file = made(tmp_path).folder / "authority.pem"
    file.write_bytes(spoilt)
    with pytest.raises(InputError, match=r"authority\.pem does not hold a certificate and its key.* Move .* away"):
        made(tmp_path)
    assert file.read_bytes() == spoilt


def test_a_key_of_another_certificate_is_refused(tmp_path: Path) -> None:
    file = made(tmp_path).folder / "authority.pem"
    one, other = new_authority(NAMES, NOW), new_authority(NAMES, NOW)
    file.write_bytes(Signed(one.certificate, other.key).pem())
    with pytest.raises(InputError, match="not that of the certificate"):
        made(tmp_path)


def test_what_is_good_is_kept(tmp_path: Path) -> None:
    one = made(tmp_path)
    first = serial(one)
    again = made(tmp_path, now=NOW + timedelta(days=300))
    assert "has to be told once" in one.news
    assert again.news == ""
    assert (again.fingerprint, serial(again)) == (one.fingerprint, first)


@pytest.mark.parametrize(
    ("later", "addresses"),
    [(timedelta(days=380), (HOME,)), (timedelta(days=-3), (HOME,)), (timedelta(0), (HOME, OTHER_HOME)), (timedelta(0), (OTHER_HOME,))],
    ids=["running out", "clock was wrong", "one address more", "another address"],
)
def test_the_servers_certificate_is_renewed_under_the_same_authority(
    tmp_path: Path, later: timedelta, addresses: tuple[Address, ...]
) -> None:
    # An authority older than the clock's slip, so that it is good at every moment asked for.
    one = made(tmp_path, now=NOW - timedelta(days=20))
    made(tmp_path, addresses=(ipaddress.IPv4Address("10.0.0.9"),))
    before = made(tmp_path)
    first = serial(before)
    after = made(tmp_path, now=NOW + later, addresses=addresses)
    assert after.fingerprint == before.fingerprint == one.fingerprint
    assert serial(after) != first
    assert after.news == ""
    if later <= timedelta(0):  # a handshake asks the real clock
        assert shake_hands(after.server_file, one.authority, str(addresses[-1])) is None


def test_a_new_name_takes_a_new_authority_and_says_so(tmp_path: Path) -> None:
    one = made(tmp_path)
    other = made(tmp_path, names=frozenset({"bench", "bench.local"}))
    assert other.fingerprint != one.fingerprint
    assert "did not cover bench, bench.local" in other.news
    assert "Remove the old one from each phone" in other.news
    assert shake_hands(other.server_file, other.authority, "bench.local") is None
    # Going back to the old name asks nothing of anybody.
    assert made(tmp_path).fingerprint == other.fingerprint


def test_a_renewed_certificate_is_taken_up_while_serving(tmp_path: Path) -> None:
    https = made_here(tmp_path / "https", "127.0.0.1")
    assert https.home_made is not None
    assert https.keep_up is not None
    authority = https.home_made.authority
    first = meet(https.context, authority, "localhost")
    https.keep_up()
    assert meet(https.context, authority, "localhost") == first
    https.home_made.server_file.unlink()
    https.keep_up()
    assert meet(https.context, authority, "localhost") != first


def test_an_authority_that_runs_out_is_made_anew_and_that_is_said(tmp_path: Path) -> None:
    one = made(tmp_path)
    other = made(tmp_path, now=NOW + timedelta(days=3640))
    assert "has run out" in other.news
    assert other.fingerprint != one.fingerprint


def test_names_no_certificate_can_hold_are_left_out() -> None:
    assert dns_names({"Pits.Local.", "küche", "", "..", "a" * 64, "x" * 40}) == {"pits.local", "xn--kche-0ra", "x" * 40}


def own_files(folder: Path, *, now: datetime = NOW, name: str = "packs.club.example") -> tuple[Path, Path]:
    """A certificate and key as their owner would have them from elsewhere."""
    signed = server_certificate(new_authority({name}, now), {name, "*.club.example"}, (), now)
    form = serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8
    certificate, key = folder / f"{name}.crt", folder / f"{name}.key"
    certificate.write_bytes(signed.certificate.public_bytes(serialization.Encoding.PEM))
    key.write_bytes(signed.key.private_bytes(*form, serialization.NoEncryption()))
    (folder / f"{name}.locked").write_bytes(signed.key.private_bytes(*form, serialization.BestAvailableEncryption(b"secret")))
    return certificate, key


def test_ones_own_certificate_brings_its_names(tmp_path: Path) -> None:
    https = from_files(*own_files(tmp_path))
    assert https.names == {"packs.club.example"}
    assert https.home_made is None


@pytest.mark.parametrize(
    ("certificate", "key", "words"),
    [
        ("no-such.crt", "a.example.key", "no-such.crt cannot be read: No such file"),
        ("a.example.crt", "no-such.key", "no-such.key cannot be read: No such file"),
        ("", "a.example.key", "cannot be read"),
        ("a.example.key", "a.example.key", r"holds no certificate in PEM .* --certificate"),
        ("a.example.crt", "a.example.crt", r"holds no private key in PEM .* --key"),
        ("rubbish", "a.example.key", "holds no certificate"),
        ("a.example.crt", "rubbish", "holds no private key"),
        ("a.example.crt", "b.example.key", "is not that of the certificate in"),
        ("a.example.crt", "a.example.locked", "locked with a password"),
        ("old.example.crt", "old.example.key", r"ran out on \d{4}-\d\d-\d\d\. Have it renewed"),
        ("young.example.crt", "young.example.key", r"holds from \d{4}-\d\d-\d\d on only\. See whether this machine's clock"),
    ],
)
def test_wrong_files_are_refused_with_what_to_do(tmp_path: Path, certificate: str, key: str, words: str) -> None:
    for name, shift in (("a.example", 0), ("b.example", 0), ("old.example", -500), ("young.example", 20)):
        own_files(tmp_path, now=NOW + timedelta(days=shift), name=name)
    (tmp_path / "rubbish").write_bytes(bytes(range(256)))
    with pytest.raises(InputError, match=words):
        from_files(tmp_path / certificate, tmp_path / key)
