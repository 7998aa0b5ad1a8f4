"""A recording as bytes and back, bit for bit: columns apart, decimals as whole numbers, differences, packed by zlib.

A logger writes 7.412 V, not any double near it: such a column is kept as 7412 with three decimals, which gives exactly the
same double again when divided. A column that is not of that kind is kept as it stands. Each column is kept the way that
was tried and found shortest, and checked before it counts.
"""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracker.errors import StoreError

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]

_MARK = b"PHT1"
_LEVEL = 3
"""Of zlib: higher ones take up to five times as long on a noisy recording and save 3 %."""
_MOST_DECIMALS = 9
_TRIED = 50_000
"""So many of the first numbers are packed each way to find the shortest."""
_EXACT_UP_TO = 2.0**53
"""Whole numbers up to here are exact as doubles."""
_NAN_BITS = np.array([np.nan]).view(np.int64)[0]
_SIZES = (np.int8, np.int16, np.int32, np.int64)
_DAMAGED = "a recording is damaged and cannot be read; restore a backup, or bring its file in again."


def encode(columns: Sequence[Floats]) -> bytes:
    """Return columns of numbers as bytes."""
    parts = [_encode_column(np.ascontiguousarray(column, dtype=np.float64)) for column in columns]
    head = json.dumps([spec for spec, _ in parts], separators=(",", ":")).encode()
    body = b"".join(blob for _, blobs in parts for blob in blobs)
    return _MARK + struct.pack("<I", len(head)) + head + body


def decode(text: bytes) -> list[Floats]:
    """Return the columns `encode` was given; StoreError when the bytes are damaged."""
    try:
        if text[:4] != _MARK:
            raise ValueError
        (size,) = struct.unpack("<I", text[4:8])
        specs = json.loads(text[8 : 8 + size])
        at, found = 8 + size, []
        for spec in specs:
            blobs = []
            for length in spec["sizes"]:
                blobs.append(text[at : at + length])
                at += length
            found.append(_decode_column(spec, blobs))
    except (ValueError, KeyError, TypeError, IndexError, struct.error, zlib.error) as error:
        raise StoreError(_DAMAGED) from error
    return found


def _encode_column(values: Floats) -> tuple[dict[str, Any], list[bytes]]:
    bits = values.view(np.int64)
    missing = np.isnan(values)
    spec: dict[str, Any] = {"n": len(values)}
    blobs: list[bytes] = []
    whole: tuple[int, Wholes] | None = None
    if (bits[missing] == _NAN_BITS).all():
        whole = _as_wholes(values[~missing])
        if missing.any():
            spec["missing"] = True
            blobs.append(zlib.compress(np.packbits(missing).tobytes(), _LEVEL))
    if whole is not None:
        decimals, numbers = whole
        order = min(range(3), key=lambda each: len(_pack(_differences(numbers[:_TRIED], each))[1]))
        width, blob = _pack(_differences(numbers, order))
        spec |= {"kind": "decimal", "decimals": decimals, "order": order, "width": width}
    else:
        spec.pop("missing", None)
        blobs = []
        changes = bits ^ np.concatenate([[0], bits[:-1]]) if len(bits) else bits
        spec |= {"kind": "bits"}
        blob = zlib.compress(_by_byte(np.asarray(changes, dtype=np.int64)), _LEVEL)
    blobs.append(blob)
    spec["sizes"] = [len(each) for each in blobs]
    return spec, blobs


def _decode_column(spec: dict[str, Any], blobs: list[bytes]) -> Floats:
    n = int(spec["n"])
    if spec["kind"] == "bits":
        changes = _from_bytes(zlib.decompress(blobs[-1]), 8)
        values = np.bitwise_xor.accumulate(changes).view(np.float64) if n else np.zeros(0)
    else:
        numbers = _from_bytes(zlib.decompress(blobs[-1]), int(spec["width"]))
        for _ in range(int(spec["order"])):
            numbers = np.cumsum(numbers)
        values = numbers / 10.0 ** int(spec["decimals"])
        if spec.get("missing"):
            missing = np.unpackbits(np.frombuffer(zlib.decompress(blobs[0]), dtype=np.uint8), count=n).astype(bool)
            whole = np.full(n, np.nan)
            whole[~missing] = values
            values = whole
    if len(values) != n:
        raise ValueError
    return np.asarray(values, dtype=np.float64)


def _as_wholes(values: Floats) -> tuple[int, Wholes] | None:
    """The fewest decimals that give the very same doubles, and the whole numbers; None where there are none."""
    if len(values) == 0:
        return 0, np.zeros(0, dtype=np.int64)
    if not np.isfinite(values).all():
        return None
    largest = float(np.abs(values).max())
    few = values[:1000]
    for decimals in range(_MOST_DECIMALS + 1):
        scale = 10.0**decimals
        # A difference of second order is up to four times as large, and must still be a whole number of 64 bits.
        if largest * scale >= _EXACT_UP_TO:
            return None
        if _is_exact(few, scale) and _is_exact(values, scale):
            return decimals, np.rint(values * scale).astype(np.int64)
    return None


def _is_exact(values: Floats, scale: float) -> bool:
    again = np.rint(values * scale).astype(np.int64) / scale
    return bool((again.view(np.int64) == values.view(np.int64)).all())  # not ==, by which 0 and -0 are the same


def _differences(numbers: Wholes, order: int) -> Wholes:
    return np.diff(numbers, n=order, prepend=[0] * order) if order else numbers


def _pack(numbers: Wholes) -> tuple[int, bytes]:
    size = next(
        kind
        for kind in _SIZES
        if len(numbers) == 0 or (np.iinfo(kind).min <= int(numbers.min()) and int(numbers.max()) <= np.iinfo(kind).max)
    )
    return np.dtype(size).itemsize, zlib.compress(_by_byte(numbers.astype(size)), _LEVEL)


def _by_byte(numbers: NDArray[Any]) -> bytes:
    """All lowest bytes first, then all second ones, and so on: like stands by like, and packs better."""
    width = numbers.dtype.itemsize
    plain = numbers.astype(numbers.dtype.newbyteorder("<"), copy=False)
    return np.ascontiguousarray(plain.view(np.uint8).reshape(-1, width).T).tobytes()


def _from_bytes(text: bytes, width: int) -> Wholes:
    rows = np.frombuffer(text, dtype=np.uint8).reshape(width, -1)
    return np.ascontiguousarray(rows.T).view(np.dtype(f"<i{width}")).reshape(-1).astype(np.int64)
