"""Which head a scene listens with: the one that ships with the package, a sphere, a SOFA file."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

import numpy as np

from seatwright.acoustics.head import SPHERE, HeadModel
from seatwright.acoustics.measured_head import MeasuredHead
from seatwright.disk.scene_file import ReadScene
from seatwright.disk.sofa import read_sofa
from seatwright.disk.stem_paths import is_inside, leaving
from seatwright.errors import Fault, SceneError

KEY = "microphones.head.model"
_OUTSIDE_HINT = "--allow-outside reads it all the same"


def scene_head(read: ReadScene) -> HeadModel:
    """The head of a scene.

    Parameters
    ----------
    read : ReadScene

    Returns
    -------
    HeadModel

    Raises
    ------
    SceneError
        If the SOFA file it names is missing, broken, of another kind or outside the folder of the
        scene file.
    """
    try:
        return head_of(read.scene.microphones.head.model, read.folder, read.allow_outside)
    except SceneError as error:
        raise SceneError(map(read.located, error.faults)) from None


def head_of(model: str, folder: Path, allow_outside: bool) -> HeadModel:
    """A head by what the scene calls it.

    Parameters
    ----------
    model : str
        "measured", "sphere", or the path of a SOFA file.
    folder : Path
        Of the scene file.
    allow_outside : bool
        Read a file outside this folder too.

    Returns
    -------
    HeadModel

    Raises
    ------
    SceneError
        As `scene_head`, with the key but without a line.
    """
    if model == "measured":
        return shipped_head()
    if model == "sphere":
        return SPHERE
    path = folder / model
    how = "" if allow_outside else leaving(model) or ("" if is_inside(path, folder) else "a link")
    if how:
        what = f'found {how} in "{model}", wanted a SOFA file in the folder of the scene file'
        raise SceneError(Fault(what, key=KEY, hint=_OUTSIDE_HINT))
    try:
        return read_sofa(path)
    except SceneError as error:
        raise SceneError(
            replace(fault, what=f"{model}: {fault.what}", file="", key=KEY)
            for fault in error.faults
        ) from None


@lru_cache(maxsize=1)
def shipped_head() -> MeasuredHead:
    """The KEMAR dummy head of Gardner and Martin (MIT Media Lab, 1994)."""
    data = files("seatwright.disk").joinpath("data", "kemar.npz").read_bytes()
    return load_head(BytesIO(data))


def save_head(head: MeasuredHead, path: Path) -> None:
    """Write a head in compact form: 16 bits a tap, one scale a response."""
    peaks = np.abs(head.taps).max(axis=2, keepdims=True)
    np.savez_compressed(
        path,
        name=np.array(head.name),
        credit=np.array(head.credit),
        rate=np.array(head.rate),
        directions=head.directions,
        delays=head.delays_measured,
        onset=np.array(head.onset),
        scales=(peaks / 32767.0).astype(np.float32),
        taps=np.round(head.taps / peaks * 32767.0).astype(np.int16),
    )


def load_head(file: BinaryIO | Path) -> MeasuredHead:
    """Read a head that `save_head` wrote."""
    with np.load(file, allow_pickle=False) as stored:
        taps = stored["taps"] * stored["scales"]
        taps.setflags(write=False)
        return MeasuredHead(
            name=str(stored["name"]),
            credit=str(stored["credit"]),
            rate=int(stored["rate"]),
            directions=stored["directions"],
            delays_measured=stored["delays"],
            onset=int(stored["onset"]),
            taps=taps,
        )
