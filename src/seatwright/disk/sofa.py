"""Measured heads from SOFA files.

Source
------
AES69-2022, "AES standard for file exchange - Spatial acoustic data file format", convention
SimpleFreeFieldHRIR: HDF5; azimuth positive to the left, elevation up; delays in samples.
"""

from __future__ import annotations

import stat
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.head_preparation import prepared_head
from seatwright.acoustics.measured_head import MeasuredHead
from seatwright.disk.folder_listing import mode_of, nearest_names
from seatwright.disk.sofa_geometry import LARGEST, head_frame_positions, swapped_receivers
from seatwright.errors import Fault, SceneError, printable

if TYPE_CHECKING:
    import h5py

CONVENTION = "SimpleFreeFieldHRIR"
_NEEDED = ("Data.IR", "Data.SamplingRate", "SourcePosition")
_OPTIONAL = ("Data.Delay", "ReceiverPosition", "ListenerPosition", "ListenerView", "ListenerUp")
_MOST_VALUES = 2**25
_FEWEST_TAPS = 16
_LONGEST_DELAY = 1.0
_SILENT = 1e-12
_SAME_DIRECTION = 0.05
_RATES = (8_000, 384_000)


def read_sofa(path: Path) -> MeasuredHead:
    """Read a set of head-related impulse responses.

    Parameters
    ----------
    path : Path

    Returns
    -------
    MeasuredHead
        Of several measurements from one direction the one from the greatest distance.

    Raises
    ------
    SceneError
        Naming what was found and what was wanted: no such file, not HDF5, another convention,
        other shapes or units, values that are not finite, silent responses, a hole between
        directions.
    """
    if not stat.S_ISREG(mode_of(path) or 0):
        what = "found no such file, wanted a SOFA file"
        raise SceneError(Fault(what, str(path), hint=nearest_names(path)))
    try:
        import h5py

        if not h5py.is_hdf5(path):
            raise ValueError("found a file that is not HDF5, wanted a SOFA file (AES69)")
        with h5py.File(path, "r") as file:
            return _head(file, path)
    except (ValueError, OSError, KeyError, RuntimeError, TypeError) as error:
        told = str(error) if type(error) is ValueError and str(error).startswith("found") else ""
        what = told or f"found a SOFA file that cannot be read ({error}), wanted a whole one"
        raise SceneError(Fault(what, str(path))) from None


def _head(file: h5py.File, path: Path) -> MeasuredHead:
    _check_convention(file)
    count = _check_shapes(file)
    rate = _rate(file, count)
    responses = np.asarray(file["Data.IR"][...], dtype=np.float64)
    starts = _starts(file, count, rate)
    positions = head_frame_positions(file, count)
    _check_values(responses, positions)
    if swapped_receivers(file):
        responses, starts = responses[:, ::-1], starts[:, ::-1]
    directions, kept = _distinct(positions)
    responses, starts = responses[kept], starts[kept]
    if _mirrored(directions, responses, starts):
        responses, starts = responses[:, :1], starts[:, :1]
    name = _text(file, "ListenerShortName") or _text(file, "Title") or path.name
    about = (_text(file, "AuthorContact"), _text(file, "Organization"), _text(file, "License"))
    credit = "; ".join(part for part in about if part)
    return prepared_head(name, credit, rate, directions, starts, np.ascontiguousarray(responses))


def _text(file: h5py.File, key: str) -> str:
    """An attribute as one line of text; "" where it is empty or missing."""
    value = file.attrs.get(key, "")
    if isinstance(value, np.ndarray) and value.size == 1:
        value = value.reshape(-1)[0]
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    return printable(" ".join(value.split()))[:300] if isinstance(value, str) else ""


def _check_convention(file: h5py.File) -> None:
    if _text(file, "Conventions") != "SOFA":
        raise ValueError('found HDF5 without the attribute Conventions = "SOFA", wanted SOFA')
    found, kind = _text(file, "SOFAConventions") or "none", _text(file, "DataType") or "none"
    if found != CONVENTION:
        raise ValueError(f"found the SOFA convention {found}, wanted {CONVENTION}")
    if kind != "FIR":
        raise ValueError(f"found data of the type {kind}, wanted FIR")
    missing = [name for name in _NEEDED if name not in file]
    if missing:
        raise ValueError(f"found no {', '.join(missing)}, wanted {', '.join(_NEEDED)}")
    for name in (*_NEEDED, *_OPTIONAL):
        if name in file and not _holds_numbers(file[name]):
            raise ValueError(f"found {name} without real numbers, wanted a data set of them")


def _holds_numbers(stored: object) -> bool:
    """Whether it is a data set of whole or real numbers, which a group or empty set is not."""
    kind = getattr(getattr(stored, "dtype", None), "kind", "")
    return kind in "fiu" and getattr(stored, "shape", None) is not None


def _check_shapes(file: h5py.File) -> int:
    """Number of measurements, told before anything large is read."""
    shape = tuple(int(size) for size in file["Data.IR"].shape)
    said = " x ".join(str(size) for size in shape) or "one number"
    wanted = "wanted directions x 2 ears x taps"
    if len(shape) != 3 or shape[1] != 2:
        raise ValueError(f"found Data.IR of {said}, {wanted}")
    if shape[0] == 0 or shape[2] < _FEWEST_TAPS:
        raise ValueError(f"found Data.IR of {said}, {wanted} with {_FEWEST_TAPS} taps or more")
    if shape[0] * shape[1] * shape[2] > _MOST_VALUES:
        raise ValueError(f"found Data.IR of {said}, wanted at most {_MOST_VALUES} values in all")
    return shape[0]


def _rate(file: h5py.File, count: int) -> int:
    stored = file["Data.SamplingRate"]
    units = stored.attrs.get("Units", b"hertz")
    units = units.decode("utf-8", "replace") if isinstance(units, bytes) else str(units)
    if units.strip().lower() not in ("hertz", "hz"):
        raise ValueError(f'found a sampling rate in "{printable(units)}", wanted hertz')
    if stored.size not in (1, count):
        raise ValueError(f"found {stored.size} sampling rates, wanted one")
    values = np.unique(np.asarray(stored[...], dtype=float))
    low, high = _RATES
    if len(values) != 1 or not low <= values[0] <= high or values[0] != round(values[0]):
        said = ", ".join(f"{value:g}" for value in values[:4])
        raise ValueError(f"found a sampling rate of {said} Hz, wanted one whole {low} to {high} Hz")
    return int(values[0])


def _starts(file: h5py.File, count: int, rate: int) -> NDArray[np.float64]:
    """Data.Delay in seconds, shape (count, 2); 0 where there is none."""
    if "Data.Delay" not in file:
        return np.zeros((count, 2))
    shape = file["Data.Delay"].shape
    if shape not in ((1, 2), (count, 2)):
        said = " x ".join(map(str, shape))
        raise ValueError(f"found Data.Delay of {said}, wanted 1 x 2 or {count} x 2")
    delay = np.asarray(file["Data.Delay"][...], dtype=np.float64) / rate
    if not np.all(np.isfinite(delay)) or np.abs(delay).max() > _LONGEST_DELAY:
        raise ValueError("found delays beyond 1 s or not finite, wanted samples of delay")
    return np.array(np.broadcast_to(delay, (count, 2)))


def _check_values(responses: NDArray[np.float64], positions: NDArray[np.float64]) -> None:
    broken = np.count_nonzero(~np.isfinite(responses).all(axis=(1, 2)))
    if broken:
        raise ValueError(
            f"found values that are not finite in {broken} of {len(responses)} responses, "
            "wanted numbers"
        )
    peaks = np.abs(responses).max(axis=2)
    if peaks.max() > LARGEST:
        raise ValueError(f"found Data.IR with values beyond {LARGEST:g}, wanted full scale near 1")
    silent = np.count_nonzero(peaks.min(axis=1) < _SILENT)
    if silent:
        raise ValueError(
            f"found {silent} of {len(responses)} responses with a silent ear, wanted sound at both"
        )
    if np.linalg.norm(positions, axis=1).min() < 1e-3:
        raise ValueError("found a source at the head's centre, wanted sources around the head")


def _distinct(
    positions: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Unit vectors of distinct directions and where each stands; the farthest of equal ones."""
    from scipy.spatial import cKDTree

    distances = np.linalg.norm(positions, axis=1)
    directions = positions / distances[:, None]
    order = np.argsort(-distances, kind="stable")
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    pairs = cKDTree(directions).query_pairs(np.radians(_SAME_DIRECTION), output_type="ndarray")
    later = np.where(rank[pairs[:, 0]] > rank[pairs[:, 1]], pairs[:, 0], pairs[:, 1])
    kept = np.setdiff1d(np.arange(len(positions)), later)
    return directions[kept], kept


def _mirrored(
    directions: NDArray[np.float64], responses: NDArray[np.float64], starts: NDArray[np.float64]
) -> bool:
    """Whether the right ear is the left one mirrored, in every direction."""
    from scipy.spatial import cKDTree

    peak = float(np.abs(responses).max())
    apart, other = cKDTree(directions).query(directions * np.array([1.0, -1.0, 1.0]))
    return bool(
        np.max(apart) < 1e-4
        and np.allclose(responses[:, 0], responses[other, 1], rtol=0.0, atol=1e-9 * peak)
        and np.array_equal(starts[:, 0], starts[other, 1])
    )
