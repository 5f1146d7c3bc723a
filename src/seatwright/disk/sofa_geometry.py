"""Where the sources of a SOFA file stand as its listener's head sees them.

Conventions: AES69: x ahead, y to the left, z up; spherical positions are azimuth and elevation in
degrees and a distance in metres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from seatwright.errors import printable

if TYPE_CHECKING:
    import h5py

_SPHERICAL_UNITS = ("degree,degree,metre", "degree,degree,meter")
_CARTESIAN_UNITS = ("metre", "meter", "metre,metre,metre", "meter,meter,meter")

LARGEST = 1e6
"""Of any value, whatever its unit: squares of it and sums of them stay finite."""


def head_frame_positions(file: h5py.File, count: int) -> NDArray[np.float64]:
    """Sources in metres ahead, to the left of and above the head's centre, shape (count, 3).

    Raises
    ------
    ValueError
        Naming a shape, a coordinate system, units or values that cannot be used.
    """
    sources = _cartesian(file, "SourcePosition", count)
    listener = _optional(file, "ListenerPosition", count, (0.0, 0.0, 0.0))
    ahead = _unit(_optional(file, "ListenerView", count, (1.0, 0.0, 0.0)), "ListenerView")
    up = _unit(_optional(file, "ListenerUp", count, (0.0, 0.0, 1.0)), "ListenerUp")
    left = _unit(np.cross(up, ahead), "ListenerUp")
    up = np.cross(ahead, left)
    towards = sources - listener
    return np.stack([np.sum(towards * axis, axis=1) for axis in (ahead, left, up)], axis=1)


def swapped_receivers(file: h5py.File) -> bool:
    """Whether the first receiver is the right ear, by where it stands."""
    if "ReceiverPosition" not in file or file["ReceiverPosition"].shape[:2] != (2, 3):
        return False
    stored = file["ReceiverPosition"]
    values = np.asarray(stored[...], dtype=float).reshape(2, -1)[:, :3]
    if not values.size or not np.all(np.abs(values) <= LARGEST):  # nor where one is not a number
        return False
    places = _from_spherical(values) if _attribute(stored, "Type") == "spherical" else values
    return bool(places[0, 1] < 0.0 < places[1, 1])


def _attribute(stored: h5py.Dataset, key: str) -> str:
    value = stored.attrs.get(key, "")
    text = value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)
    return text.strip().lower()


def _optional(
    file: h5py.File, name: str, count: int, default: tuple[float, float, float]
) -> NDArray[np.float64]:
    if name not in file:
        return np.broadcast_to(np.array(default), (count, 3))
    return _cartesian(file, name, count)


def _cartesian(file: h5py.File, name: str, count: int) -> NDArray[np.float64]:
    """A position or direction for each measurement, shape (count, 3)."""
    stored = file[name]
    if stored.shape not in ((1, 3), (count, 3)):
        said = " x ".join(map(str, stored.shape))
        raise ValueError(f"found {name} of {said}, wanted 1 x 3 or {count} x 3")
    values = np.asarray(stored[...], dtype=np.float64)
    if not np.all(np.isfinite(values)):
        raise ValueError(f"found {name} with values that are not finite, wanted numbers")
    if np.abs(values).max() > LARGEST:
        raise ValueError(f"found {name} with values beyond {LARGEST:g}, wanted smaller ones")
    # ListenerUp has no system of its own in AES69: it shares that of ListenerView
    of_view = name == "ListenerUp" and "Type" not in stored.attrs and "ListenerView" in file
    meaning = file["ListenerView"] if of_view else stored
    kind = _attribute(meaning, "Type") or "cartesian"
    units = _attribute(meaning, "Units").replace(" ", "").replace("degrees", "degree")
    units = units.replace("metres", "metre").replace("meters", "meter")
    known = {"spherical": _SPHERICAL_UNITS, "cartesian": _CARTESIAN_UNITS}
    if kind not in known:
        raise ValueError(
            f'found {name} in "{printable(kind)}" coordinates, wanted {" or ".join(known)}'
        )
    if units and units not in known[kind]:
        wanted = ", ".join(known[kind][0].split(","))
        raise ValueError(f'found {name} in "{printable(units)}", wanted "{wanted}"')
    if kind == "spherical":
        if np.abs(values[:, 1]).max() > 90.0 + 1e-6:
            raise ValueError(f"found {name} with an elevation beyond 90 degrees, wanted -90 to 90")
        values = _from_spherical(values)
    return np.broadcast_to(values, (count, 3))


def _from_spherical(values: NDArray[np.float64]) -> NDArray[np.float64]:
    turn, rise = np.radians(values[:, 0]), np.radians(values[:, 1])
    ground = np.cos(rise)
    units = np.stack([ground * np.cos(turn), ground * np.sin(turn), np.sin(rise)], axis=1)
    return np.asarray(units * values[:, 2:3])


def _unit(vectors: NDArray[np.float64], name: str) -> NDArray[np.float64]:
    size = np.linalg.norm(vectors, axis=1, keepdims=True)
    if size.min() < 1e-6:
        raise ValueError(f"found {name} without a direction, wanted a view and an up across it")
    return np.asarray(vectors / size)
