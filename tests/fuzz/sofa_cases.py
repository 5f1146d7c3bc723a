"""Measured heads: HDF5 whose bytes, data sets or attributes are not what AES69 says."""

from __future__ import annotations

from collections.abc import Iterable
from io import BytesIO
from pathlib import Path
from random import Random
from typing import Any

import h5py
import numpy as np

from fuzz.chance import damaged
from seatwright.disk.sofa import read_sofa
from seatwright.errors import Fault

_TEXTS: tuple[Any, ...] = (
    "", "SOFA", "\x1b[2J", "a" * 400, b"\xff\xfe", 3, np.float64(np.nan), np.zeros(3),
    np.array(["a", "b"], dtype=h5py.string_dtype()), "degree,degree,metre", "metre", "spherical",
    "cartesian", "hertz", "FIR", h5py.Empty("f"), np.bytes_(b""), "\u202e",
)  # fmt: skip
_NUMBERS = (0.0, -0.0, np.nan, np.inf, -np.inf, 1e300, -1e300, 5e-324, 90.0, 91.0, 1e-9, 44_100.0)
_SETS = ("Data.IR", "Data.SamplingRate", "Data.Delay", "SourcePosition", "ReceiverPosition",
         "ListenerPosition", "ListenerView", "ListenerUp")  # fmt: skip
_SHAPES = (
    (),
    (0,),
    (1,),
    (1, 3),
    (3,),
    (13, 3),
    (13, 2, 32),
    (13, 2, 0),
    (0, 2, 32),
    (1, 2),
    (2, 3, 1),
)


class SofaTarget:
    """Bytes of a SOFA file."""

    name = "sofa"

    def __init__(self, scratch: Path):
        self.path = scratch / "head.sofa"
        self.whole = _written(_sets(), {})

    def make(self, chance: Random) -> bytes:
        """Damaged bytes in one half, other contents in the other."""
        if chance.random() < 0.5:
            return damaged(self.whole, chance, 6)
        sets, notes = _sets(), {}
        for _ in range(chance.choice((1, 1, 2, 3))):
            name = chance.choice(_SETS)
            match chance.randrange(6):
                case 0 if chance.random() < 0.5:
                    sets.pop(name, None)
                case 0:
                    sets[name] = chance.choice((None, h5py.Empty("f")))
                case 1:
                    sets[name] = np.full(chance.choice(_SHAPES), chance.choice(_NUMBERS))
                case 2 | 3:
                    if getattr(sets.get(name), "size", None):
                        flat = sets[name].reshape(-1)
                        flat[chance.randrange(flat.size)] = chance.choice(_NUMBERS)
                case 4:
                    dtype = chance.choice(("i4", "S4", "c16", "f2", "?"))
                    sets[name] = np.zeros(chance.choice(_SHAPES), dtype)
                case _:
                    key = chance.choice(
                        (
                            "Conventions",
                            "SOFAConventions",
                            "DataType",
                            "Title",
                            "ListenerShortName",
                            f"{name}/Type",
                            f"{name}/Units",
                        )
                    )
                    notes[key] = chance.choice(_TEXTS)
        return _written(sets, notes)

    def run(self, data: bytes) -> Iterable[Fault | str]:
        """Read and prepare the head."""
        self.path.write_bytes(data)
        head = read_sofa(self.path)
        assert np.all(np.isfinite(head.taps)) and np.all(np.isfinite(head.delays_measured))
        return [head.name, head.credit]


def _sets() -> dict[str, Any]:
    """A head of thirteen directions and a click for each."""
    places = [(turn, rise, 1.4) for rise in (-45, 0, 45) for turn in (0, 90, 180, 270)]
    where = np.array([*places, (0, 90, 1.4)], dtype=float)
    clicks = np.zeros((len(where), 2, 32))
    clicks[:, :, 5] = 1.0
    clicks[::2, 0, 6] = 0.5
    return {
        "Data.IR": clicks,
        "Data.SamplingRate": np.array([44_100.0]),
        "Data.Delay": np.zeros((1, 2)),
        "SourcePosition": where,
        "ReceiverPosition": np.array([[[0.0], [0.09], [0.0]], [[0.0], [-0.09], [0.0]]]),
        "ListenerPosition": np.zeros((1, 3)),
        "ListenerView": np.array([[1.0, 0.0, 0.0]]),
        "ListenerUp": np.array([[0.0, 0.0, 1.0]]),
    }


def _written(sets: dict[str, Any], notes: dict[str, Any]) -> bytes:
    memory = BytesIO()
    with h5py.File(memory, "w") as file:
        for name, value in sets.items():
            file[name] = file.create_group(f"of {name}") if value is None else value
        texts = {"Conventions": "SOFA", "SOFAConventions": "SimpleFreeFieldHRIR", "DataType": "FIR",
                 "SourcePosition/Type": "spherical",
                 "SourcePosition/Units": "degree, degree, metre"}  # fmt: skip
        for key, value in (texts | notes).items():
            place, _, name = key.rpartition("/")
            if not place or place in file:
                (file[place] if place else file).attrs[name] = value
    return memory.getvalue()


def target(scratch: Path) -> SofaTarget:
    """The target in a folder."""
    return SofaTarget(scratch)
