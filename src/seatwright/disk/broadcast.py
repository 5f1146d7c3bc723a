"""The broadcast extension of a WAV file: who made it, when, and where it stands in time.

Text is read as UTF-8, of which the standard's ASCII is a part; bytes that are no UTF-8 are
kept as lone surrogates, so that every extension comes out byte for byte as it went in.

Source: EBU Tech 3285 v2, chunk bext: 602 fixed bytes, then the coding history.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from seatwright.errors import Fault, RenderError

_LAYOUT = struct.Struct("<256s32s32s10s8sQH254s")
FIXED_BYTES = _LAYOUT.size
REMAINDER_BYTES = 254


@dataclass(frozen=True)
class Broadcast:
    """A broadcast extension.

    Parameters
    ----------
    description, originator, originator_reference : str
        At most 256, 32 and 32 bytes of UTF-8.
    origination_date, origination_time : str
        "yyyy-mm-dd" and "hh:mm:ss": at most 10 and 8 bytes.
    time_reference : int
        First sample's place on the time line, in samples since midnight; 64 bits.
    version : int
        Version of the extension, 16 bits.
    coding_history : str
        Lines on how the audio was coded, as found (padding included).
    remainder : bytes
        The other fixed fields as they are: UMID (64 bytes), loudness (10), reserved (180).
    """

    description: str = ""
    originator: str = ""
    originator_reference: str = ""
    origination_date: str = ""
    origination_time: str = ""
    time_reference: int = 0
    version: int = 1
    coding_history: str = ""
    remainder: bytes = bytes(REMAINDER_BYTES)


_TEXTS = (
    ("description", 256),
    ("originator", 32),
    ("originator_reference", 32),
    ("origination_date", 10),
    ("origination_time", 8),
)


def parse_broadcast(body: bytes) -> Broadcast:
    """Read the body of a bext chunk.

    Parameters
    ----------
    body : bytes
        At least 602 bytes.

    Returns
    -------
    Broadcast
        `build_broadcast` gives the same bytes again.

    Raises
    ------
    ValueError
        If `body` is shorter than the fixed fields.
    """
    if len(body) < FIXED_BYTES:
        raise ValueError(f"Expected at least {FIXED_BYTES} bytes, got {len(body)}")
    *texts, time_reference, version, remainder = _LAYOUT.unpack_from(body)
    description, originator, reference, date, time = (_text(t.rstrip(b"\0")) for t in texts)
    return Broadcast(
        description=description,
        originator=originator,
        originator_reference=reference,
        origination_date=date,
        origination_time=time,
        time_reference=time_reference,
        version=version,
        coding_history=_text(body[FIXED_BYTES:]),
        remainder=remainder,
    )


def build_broadcast(broadcast: Broadcast) -> bytes:
    """Write the body of a bext chunk.

    Parameters
    ----------
    broadcast : Broadcast
        Nothing is shortened to fit.

    Returns
    -------
    bytes
        602 bytes and the coding history.

    Raises
    ------
    RenderError
        If fields do not fit; all of them are named.
    """
    texts = [_bytes(getattr(broadcast, name)) for name, _ in _TEXTS]
    history = _bytes(broadcast.coding_history)
    faults = [
        Fault(f"broadcast {name} of {len(text)} bytes, expected at most {most}")
        for text, (name, most) in zip(texts, _TEXTS, strict=True)
        if len(text) > most
    ]
    faults += _number_faults(broadcast)
    if faults:
        raise RenderError(faults)
    numbers = (broadcast.time_reference, broadcast.version, broadcast.remainder)
    return _LAYOUT.pack(*texts, *numbers) + history


def _number_faults(broadcast: Broadcast) -> list[Fault]:
    faults = []
    for name, bits in (("time_reference", 64), ("version", 16)):
        value = getattr(broadcast, name)
        if not 0 <= value < 2**bits:
            faults.append(Fault(f"broadcast {name} {value}, expected 0 to 2**{bits} - 1"))
    if len(broadcast.remainder) != REMAINDER_BYTES:
        found = len(broadcast.remainder)
        faults.append(Fault(f"broadcast remainder of {found} bytes, expected {REMAINDER_BYTES}"))
    return faults


def _text(raw: bytes) -> str:
    return raw.decode("utf-8", "surrogateescape")


def _bytes(text: str) -> bytes:
    try:
        return text.encode("utf-8", "surrogateescape")
    except UnicodeEncodeError as error:
        raise RenderError(f"broadcast text {text!r} is no UTF-8") from error
