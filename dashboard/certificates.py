"""A certificate authority of this machine's own, and the certificate it gives its own web server.

Both lie with their keys in one file each, so that key and certificate cannot come apart. The authority may
vouch for this machine's names and for addresses of home networks only (name constraints, RFC 5280, 4.2.1.10):
whoever came by its key could not pose as a bank to a phone that heeds them.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from dashboard.machine import HOME_NETWORKS, LOOPBACK_ADDRESSES, Address, is_home
from tracker.errors import InputError

AUTHORITY_FILE, SERVER_FILE = "authority.pem", "server.pem"
AUTHORITY_LASTS = timedelta(days=3650)
SERVER_LASTS = timedelta(days=397)
"""Phones refuse certificates of more than 825 days, also from an authority their owner added; shorter is better."""
RENEW_BEFORE = timedelta(days=30)
CLOCKS_DIFFER = timedelta(days=1)
"""How far the clock of a phone may be behind this machine's."""


@dataclass(frozen=True, slots=True)
class Signed:
    """A certificate with its key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    def pem(self) -> bytes:
        """Both as they are stored."""
        key = self.key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, encryption_algorithm=serialization.NoEncryption()
        )
        return self.certificate.public_bytes(serialization.Encoding.PEM) + key


@dataclass(frozen=True, slots=True)
class HomeMade:
    """What a web server needs to speak https, and a phone to believe it."""

    authority: x509.Certificate
    server_file: Path
    folder: Path
    news: str
    """What was made anew and what that asks of a person; empty when all was there."""

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the authority's certificate, as phones show it."""
        return fingerprint(self.authority)

    def der(self) -> bytes:
        """The authority's certificate as phones take it."""
        return self.authority.public_bytes(serialization.Encoding.DER)


def home_made(folder: Path, names: Collection[str], addresses: Collection[Address], now: datetime | None = None) -> HomeMade:
    """The authority and the server's certificate in that folder, made or renewed where need be."""
    now = now or datetime.now(UTC)
    wanted = dns_names({*names, "localhost"})
    homes = {*LOOPBACK_ADDRESSES, *(one for one in addresses if is_home(one))}
    _make_folder(folder)
    authority, news = _authority(folder / AUTHORITY_FILE, wanted, now)
    server_file = folder / SERVER_FILE
    if not _still_good(server_file, authority, wanted, homes, now):
        _write(server_file, server_certificate(authority, wanted, homes, now).pem())
    return HomeMade(authority=authority.certificate, server_file=server_file, folder=folder, news=news)


def new_authority(names: Collection[str], now: datetime) -> Signed:
    """An authority for these names, everything below them, and the addresses of home networks."""
    key = ec.generate_private_key(ec.SECP256R1())
    called = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Pack tracker on {_shortest(names)}, made {now.date().isoformat()}"[:64])])
    permitted: list[x509.GeneralName] = [x509.DNSName(name) for name in sorted(names)]
    permitted += [x509.IPAddress(network) for network in HOME_NETWORKS]
    certificate = (
        _begun(called, called, key, now, now + AUTHORITY_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(authority=True), critical=True)
        .add_extension(x509.NameConstraints(permitted_subtrees=permitted, excluded_subtrees=None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    return Signed(certificate, key)


def server_certificate(authority: Signed, names: Collection[str], addresses: Collection[Address], now: datetime) -> Signed:
    """A certificate for a web server under these names and addresses."""
    key = ec.generate_private_key(ec.SECP256R1())
    called = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, _shortest(names)[:64])])
    reached: list[x509.GeneralName] = [x509.DNSName(name) for name in sorted(names)]
    reached += [x509.IPAddress(address) for address in sorted(addresses, key=str)]
    ends = min(now + SERVER_LASTS, authority.certificate.not_valid_after_utc)
    identity = authority.certificate.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    certificate = (
        _begun(called, authority.certificate.subject, key, now, ends)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(authority=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(reached), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identity), critical=False)
        .sign(authority.key, hashes.SHA256())
    )
    return Signed(certificate, key)


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 of a certificate, in pairs of digits."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def dns_names(names: Collection[str]) -> frozenset[str]:
    """Those of the names that a certificate can hold, as it holds them."""
    held = set()
    for name in names:
        try:
            written = name.encode("idna").decode("ascii").lower().rstrip(".")
        except UnicodeError:
            continue
        if written:
            held.add(written)
    return frozenset(held)


def _authority(file: Path, names: frozenset[str], now: datetime) -> tuple[Signed, str]:
    if not file.exists():
        made = new_authority(names, now)
        _write(file, made.pem())
        return made, "A certificate authority was made for this machine; each phone has to be told once to trust it."
    stored = _read(file)
    permitted = _permitted(stored.certificate)
    missing = sorted(name for name in names if not any(name == one or name.endswith(f".{one}") for one in permitted))
    if _in_time(stored.certificate, now) and not missing:
        return stored, ""
    why = f"did not cover {', '.join(missing)}" if missing else "has run out"
    made = new_authority(names | permitted, now)
    _write(file, made.pem())
    return made, f"The certificate authority {why}, so a new one was made. Remove the old one from each phone and trust the new one."


def _still_good(file: Path, authority: Signed, names: frozenset[str], addresses: Collection[Address], now: datetime) -> bool:
    """Whether the server's certificate is there, is of this authority, holds these names and addresses, and lasts."""
    if not file.exists():
        return False
    stored = _read(file)
    try:
        stored.certificate.verify_directly_issued_by(authority.certificate)
    except (InvalidSignature, ValueError, TypeError):
        return False
    reached = stored.certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    held = set(reached.get_values_for_type(x509.DNSName)), set(reached.get_values_for_type(x509.IPAddress))
    return held == (set(names), set(addresses)) and _in_time(stored.certificate, now)


def _in_time(certificate: x509.Certificate, now: datetime) -> bool:
    return certificate.not_valid_before_utc <= now and now + RENEW_BEFORE < certificate.not_valid_after_utc


def _permitted(certificate: x509.Certificate) -> frozenset[str]:
    limits = certificate.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    return frozenset(one.value for one in limits if isinstance(one, x509.DNSName))


def _begun(called: x509.Name, by: x509.Name, key: ec.EllipticCurvePrivateKey, now: datetime, ends: datetime) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder(subject_name=called, issuer_name=by, public_key=key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - CLOCKS_DIFFER)
        .not_valid_after(ends)
    )


def _usage(*, authority: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not authority,
        key_cert_sign=authority,
        crl_sign=authority,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _shortest(names: Collection[str]) -> str:
    """The name to call a certificate by: this machine's own rather than localhost."""
    return min(sorted(set(names) - {"localhost"}), key=len, default="localhost")


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"The folder {folder} for the certificates cannot be made: {error.strerror}. Give --certificate and --key."
        ) from error


def _read(file: Path) -> Signed:
    """A certificate and key of our own, which nobody else may have read."""
    again = f"Move {file} away and start again: a new one is made, and each phone has to be told to trust the new authority."
    try:
        if os.name == "posix" and stat.S_IMODE(file.stat().st_mode) & 0o077:
            raise InputError(f"Other users of this machine may read the key in {file}, so it is not secret any more. {again}")
        pem = file.read_bytes()
        certificate, key = x509.load_pem_x509_certificate(pem), serialization.load_pem_private_key(pem, password=None)
    except OSError as error:
        raise InputError(f"{file} cannot be read: {error.strerror}. {again}") from error
    except ValueError as error:
        raise InputError(f"{file} does not hold a certificate and its key, as it did when it was made. {again}") from error
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
        raise InputError(f"In {file} the key is not that of the certificate. {again}")
    return Signed(certificate, key)


def _write(file: Path, pem: bytes) -> None:
    """Put a file in place whole, readable by its owner alone from its first moment on."""
    beside = file.with_name(f"{file.name}.{os.getpid()}.new")
    try:
        beside.unlink(missing_ok=True)
        with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
            stream.write(pem)
        beside.replace(file)
    except OSError as error:
        raise InputError(f"{file} cannot be written: {error.strerror}. Give --certificate and --key.") from error
