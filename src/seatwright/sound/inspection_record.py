"""An inspection as plain values and arrays, to be kept and read again.

A record says nothing of where a file lies: the path and the broadcast start are given anew, so that
a record may be kept by the audio alone.
"""

from __future__ import annotations

from dataclasses import asdict, fields
from math import isfinite
from typing import Any

from numpy.typing import NDArray

from seatwright.sound.inspection import SoundFigures, StemInspection
from seatwright.sound.octave_steps import OctaveSteps
from seatwright.sound.room_in_stem import RoomEstimate

RECORD_FORMAT = 1
"""Raised whenever a figure is measured otherwise: older records are then measured again."""

_ARRAYS = ("excerpt", "octaves")
_OF_FILE = ("rate", "channels", "bits", "encoding")

Arrays = dict[str, NDArray[Any]]


def inspection_record(inspection: StemInspection) -> tuple[dict[str, Any], Arrays]:
    """A full inspection as values that JSON holds exactly, and arrays.

    Parameters
    ----------
    inspection : StemInspection

    Returns
    -------
    values : dict
        Of str, int, float, bool, None and one dict of these. Numbers JSON lacks are words:
        "inf", "-inf", "nan".
    arrays : dict of str to ndarray
        `excerpt` float32, shape (steps, channels); with levels `powers` float32, shape
        (channels, 8, steps), and `cross` complex128, shape (8,).
    """
    sound = inspection.sound
    flat = {each.name: getattr(sound, each.name) for each in fields(sound)}
    values = {name: _plain(value) for name, value in flat.items() if name not in _ARRAYS}
    values["room"] = {name: _plain(value) for name, value in asdict(sound.room).items()}
    values |= {name: getattr(inspection, name) for name in _OF_FILE}
    arrays: Arrays = {"excerpt": sound.excerpt}
    if sound.octaves is not None:
        arrays |= {"powers": sound.octaves.powers, "cross": sound.octaves.cross}
    return {"format": RECORD_FORMAT, **values}, arrays


def recorded_inspection(
    values: dict[str, Any], arrays: Arrays, file: str, start_seconds: float | None
) -> StemInspection | None:
    """The inspection a record was made of, for a file at this place.

    Parameters
    ----------
    values : dict
    arrays : dict of str to ndarray
        As `inspection_record` gave them.
    file : str
        Path of the file now.
    start_seconds : float or None
        Its broadcast start.

    Returns
    -------
    StemInspection or None
        None for a record of another format, or one that is not whole.
    """
    if values.get("format") != RECORD_FORMAT:
        return None
    try:
        room = RoomEstimate(**{name: _number(value) for name, value in values["room"].items()})
        names = [each.name for each in fields(SoundFigures) if each.name not in (*_ARRAYS, "room")]
        sound = SoundFigures(
            **{name: _number(values[name]) for name in names},
            room=room,
            excerpt=arrays["excerpt"],
            octaves=OctaveSteps(arrays["powers"], arrays["cross"]) if "powers" in arrays else None,
        )
        of_file = {name: values[name] for name in _OF_FILE}
    except (KeyError, TypeError):
        return None
    return StemInspection(file=file, start_seconds=start_seconds, sound=sound, **of_file)


def _plain(value: Any) -> Any:
    return str(value) if isinstance(value, float) and not isfinite(value) else value


def _number(value: Any) -> Any:
    return float(value) if value in ("inf", "-inf", "nan") else value
