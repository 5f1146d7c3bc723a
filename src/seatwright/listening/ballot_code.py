"""Ballot codes: a ballot as one line that can be pasted into a message."""

from __future__ import annotations

import base64
import binascii
import re
import zlib

from seatwright.errors import Fault, SceneError
from seatwright.listening.plain_json import LARGEST

CODE_PREFIX, PLAIN_PREFIX = "SWB1.", "SWB0."
"""Before packed JSON, and before JSON as it is, from browsers that cannot pack."""

_BEGIN = re.compile(rb"SWB\d\.")
_DAMAGED = "copied whole? a code broken over lines has to be joined"


def ballot_code(data: bytes) -> str:
    """The code of a ballot's JSON."""
    packed = base64.urlsafe_b64encode(zlib.compress(data, 9)).decode("ascii")
    return CODE_PREFIX + packed.rstrip("=")


def looks_like_code(data: bytes) -> bool:
    """Whether data begins as codes do, of whatever kind."""
    return bool(_BEGIN.match(data))


def unpacked_code(code: str) -> bytes:
    """The JSON inside a code.

    Parameters
    ----------
    code : str
        "SWB1." and base64url of what deflate made of the JSON, with or without zlib's frame; or
        "SWB0." and base64url of the JSON itself.

    Returns
    -------
    bytes
        Packed JSON unpacks to 64 KiB at most.

    Raises
    ------
    SceneError
        If it is damaged, cut off or unpacks to more.
    """
    prefix, letters = code.strip()[: len(CODE_PREFIX)], code.strip()[len(CODE_PREFIX) :].rstrip("=")
    if prefix not in (CODE_PREFIX, PLAIN_PREFIX):
        raise _damaged(f'a code that begins with "{prefix}", wanted "{CODE_PREFIX}"')
    if not letters:
        raise _damaged("a code with nothing in it")
    if len(letters) > 2 * LARGEST:
        raise SceneError(f"found a code of {len(letters)} characters, wanted a shorter one")
    try:
        padded = letters.encode("ascii") + b"=" * (-len(letters) % 4)
        packed = base64.b64decode(padded, altchars=b"-_", validate=True)
    except (binascii.Error, UnicodeEncodeError) as error:
        raise _damaged("letters that belong to no code") from error
    if code.strip().startswith(PLAIN_PREFIX):
        return packed
    for frame in (zlib.MAX_WBITS, -zlib.MAX_WBITS):
        unpacked = _unpacked(packed, frame)
        if unpacked is not None:
            return unpacked
    raise _damaged("a code that does not unpack")


def _unpacked(packed: bytes, frame: int) -> bytes | None:
    """At most 64 KiB; None where the frame is another one or something is missing."""
    machine = zlib.decompressobj(frame)
    try:
        data = machine.decompress(packed, LARGEST + 1)
    except zlib.error:
        return None
    if len(data) > LARGEST:
        raise SceneError(f"found a code that unpacks to more than {LARGEST} bytes")
    return data if machine.eof and not machine.unused_data else None


def _damaged(what: str) -> SceneError:
    return SceneError(Fault(f"found {what}", hint=_DAMAGED))
