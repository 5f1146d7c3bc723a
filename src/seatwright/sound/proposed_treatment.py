"""Which treatment a stem is proposed for, from the room found in it and what plays."""

from __future__ import annotations

from seatwright.sound.room_in_stem import RoomEstimate
from seatwright.stage.instruments import INSTRUMENTS, instrument_key
from seatwright.stage.seats import Treatment

RINGING_FAMILIES = frozenset({"percussion", "keyboards"})
_STOPS = frozenset({"organ", "snare drum", "tom-toms", "xylophone", "tambourine"})
"""Of those families the instruments that stop within half a second, or with the key."""

_LOW_SUPPORT = "low support"


def rings(instrument: str) -> bool:
    """Whether an instrument rings by itself as long as a room does, by its name or its family."""
    key = instrument_key(instrument)
    if not key:
        return instrument.strip().lower() in RINGING_FAMILIES
    return INSTRUMENTS[key].family in RINGING_FAMILIES and key not in _STOPS


def proposed_treatment(estimate: RoomEstimate, instrument: str) -> tuple[Treatment, str]:
    """Propose a treatment for a stem and say why.

    Parameters
    ----------
    estimate : RoomEstimate
    instrument : str
        Name of the instrument or of its family.

    Returns
    -------
    treatment : str
        "blended" for a stem with a room in it, else "placed"; "untouched" for low support.
    why : str
        In plain words.
    """
    if instrument_key(instrument) == _LOW_SUPPORT:
        return "untouched", "a low support line is heard without a place"
    if estimate.verdict != "room":
        return "placed", _without_room(estimate)
    if rings(instrument):
        return "placed", (
            f"{estimate.why}; {instrument.strip().lower()} may ring that long by itself: listen, "
            "and choose blended if it is a room"
        )
    return "blended", f"it has a room of about {estimate.seconds:.1f} s: {estimate.why}"


def _without_room(estimate: RoomEstimate) -> str:
    if estimate.verdict == "dry":
        return f"dry: {estimate.why}"
    return f"no room is certain: {estimate.why}; choose blended if you hear one"
