"""JSON from strangers: bounded, without doubles, without numbers that are none."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from math import isfinite
from typing import Any

from seatwright.errors import Fault, SceneError

LARGEST = 64 * 1024
"""Bytes; more is no ballot."""

_LONGEST_NUMBER = 24
_DEEPEST = 16


class _Refused(ValueError):
    pass


def read_json(data: bytes, largest: int = LARGEST) -> dict[str, Any]:
    """Read one JSON object.

    Parameters
    ----------
    data : bytes
        UTF-8, with or without a byte order mark.
    largest : int
        Bytes that are read at most.

    Returns
    -------
    dict of str to Any

    Raises
    ------
    SceneError
        For too many bytes, other encodings, broken or deeply nested JSON, a key given twice,
        numbers that are not finite or have more than 24 characters, and anything but an object.
    """
    if len(data) > largest:
        raise SceneError(f"found {len(data)} bytes, wanted {largest} at most")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SceneError(f"found byte {error.start} that is no UTF-8, wanted UTF-8") from error
    try:
        found = json.loads(
            text,
            object_pairs_hook=_table,
            parse_constant=_no_number,
            parse_float=_decimal,
            parse_int=_whole,
        )
    except RecursionError as error:
        raise SceneError("found JSON nested too deeply to be read") from error
    except json.JSONDecodeError as error:
        what = f"found broken JSON: {error.msg} in line {error.lineno}, column {error.colno}"
        raise SceneError(Fault(what, hint="damaged on its way?")) from error
    except _Refused as error:
        raise SceneError(str(error)) from error
    if not isinstance(found, dict):
        raise SceneError("found JSON without keys, wanted an object")
    if _is_deep(found):
        raise SceneError("found JSON nested too deeply to be read")
    return found


def _is_deep(value: Any) -> bool:
    """Whether anything stands deeper than what later steps may follow by calling themselves."""
    level = [value]
    for _ in range(_DEEPEST):
        level = [
            inner
            for outer in level
            if isinstance(outer, dict | list)
            for inner in (outer.values() if isinstance(outer, dict) else outer)
        ]
    return bool(level)


def _table(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    table = dict(pairs)
    if len(table) < len(pairs):
        raise _Refused("found a key given twice, wanted every key once")
    return table


def _no_number(word: str) -> float:
    raise _Refused(f"found {word}, wanted a finite number")


def _decimal(digits: str) -> float:
    value = float(digits) if len(digits) <= _LONGEST_NUMBER else float("inf")
    if not isfinite(value):
        raise _Refused(f"found the number {digits[:_LONGEST_NUMBER]}, wanted a smaller one")
    return value


def _whole(digits: str) -> int:
    if len(digits) > _LONGEST_NUMBER:
        raise _Refused(f"found a number of {len(digits)} digits, wanted a smaller one")
    return int(digits)


def digest_of(table: dict[str, Any]) -> str:
    """SHA-256 of the canonical JSON of a table, in hexadecimal: as Python writes numbers."""
    return hashlib.sha256(_encoded(next(_canonical_forms(table)))).hexdigest()


def digest_fits(table: dict[str, Any], digest: str) -> bool:
    """Whether a digest begins the SHA-256 of the canonical JSON of a table.

    Parameters
    ----------
    table : dict of str to Any
        Written with keys sorted, no spaces, UTF-8.
    digest : str
        Hex, all of it or the first digits.

    Returns
    -------
    bool
        Languages write the same number differently (10.0 here, 10 in a browser), so it may be the
        digest of either way: as Python writes numbers, or as ECMAScript does (RFC 8785).
    """
    return any(
        hashlib.sha256(_encoded(form)).hexdigest().startswith(digest)
        for form in _canonical_forms(table)
    )


def _canonical_forms(table: dict[str, Any]) -> Iterator[str]:
    yield json.dumps(table, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    yield _as_a_browser(table)


def _encoded(text: str) -> bytes:
    """UTF-8; half of a surrogate pair, which UTF-8 cannot hold, as the escape browsers write."""
    return text.encode("utf-8", "backslashreplace")


def _as_a_browser(value: Any) -> str:
    if isinstance(value, dict):
        inside = (f"{json.dumps(k, ensure_ascii=False)}:{_as_a_browser(value[k])}" for k in
                  sorted(value))  # fmt: skip
        return "{" + ",".join(inside) + "}"
    if isinstance(value, list):
        return "[" + ",".join(map(_as_a_browser, value)) + "]"
    if isinstance(value, float):
        return _browser_number(value)
    return json.dumps(value, ensure_ascii=False)


def _browser_number(value: float) -> str:
    """A number as ECMAScript's Number::toString writes it."""
    if value.is_integer() and abs(value) < 1e21:
        return str(int(value))
    digits, _, exponent = repr(value).partition("e")
    if not exponent:
        return digits
    power = int(exponent)
    if -6 <= power < 0:  # Python turns to exponents below 1e-4, ECMAScript below 1e-6
        sign, figures = ("-", digits[1:]) if digits[0] == "-" else ("", digits)
        return f"{sign}0.{'0' * (-power - 1)}{figures.replace('.', '').rstrip('0') or '0'}"
    return f"{digits.removesuffix('.0')}e{'+' if power > 0 else '-'}{abs(power)}"
