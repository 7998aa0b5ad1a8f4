"""The address under which a phone finds the dashboard: what stands in the codes on the labels."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from urllib.parse import urlsplit

from dashboard.machine import Address, as_address, is_home, is_loopback
from tracker.errors import InputError

MOST_CHARACTERS = 200
EXAMPLE = "http://192.168.1.20:8050"


def found_base(scheme: str, host: str, elsewhere: Sequence[str]) -> str:
    """The address to print: the one asked under, or, asked on the machine itself, the first by which it is found from elsewhere."""
    asked = urlsplit(f"//{host}")
    if elsewhere and is_loopback(asked.hostname or ""):
        host = elsewhere[0] + (f":{asked.port}" if asked.port else "")
    return f"{scheme}://{host}"


def found_elsewhere(addresses: Sequence[Address], names: Collection[str], *, home_only: bool) -> tuple[str, ...]:
    """How this machine is found from others, the likeliest first; by addresses of home networks only where its certificate holds no other."""
    numbers = [str(one) for one in addresses if one.version == 4 and (is_home(one) or not home_only)]
    return *numbers, *sorted(name for name in names if name.endswith(".local"))


def read_base(text: str) -> str:
    """An address a person typed, without what a label has no use for; InputError where it is none."""
    text = text.strip()
    problem = f"“{text[:60]}” is no address to print. Write one like {EXAMPLE}, as you would open it on the phone."
    try:
        parts = urlsplit(text)
        host, port = parts.hostname or "", parts.port
    except ValueError as error:
        raise InputError(problem) from error
    fine = (
        parts.scheme in {"http", "https"}
        and host
        and port != 0
        and len(text) <= MOST_CHARACTERS
        and text.isascii()
        and not any(sign in text for sign in " \\<>\"'`{}|^?#@")
        and text.isprintable()
    )
    if not fine:
        raise InputError(problem)
    return f"{parts.scheme}://{parts.netloc.lower()}{parts.path.rstrip('/')}"


def warning_about(base: str, *, reachable: bool, own: Collection[str]) -> str:
    """What a person should know before printing this address; empty where nothing is to be said."""
    host = urlsplit(base).hostname or ""
    if is_loopback(host):
        return (
            f"These labels would lead a phone to itself: {host} means “this machine” on every machine. "
            "Put in the address the phone opens the dashboard under, before printing."
        )
    if not reachable and host in own:
        return (
            "As it was started, the program answers this machine alone: no phone can open what these labels lead to. "
            "Start it with --host 0.0.0.0 and a password; how, says the README under “On the phone”."
        )
    if as_address(host) is not None:
        return (
            "Many networks give a machine another address now and then, and these labels would lead nowhere then. "
            "Have the router always give this machine the same address, or put in a name the phone can open."
        )
    return ""
