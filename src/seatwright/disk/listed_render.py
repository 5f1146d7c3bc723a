"""What the report in a folder says must be there, checked before anything is done with it.

A report is read as data from anywhere: no path in it leads out of the folder.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from seatwright.disk.earlier_render import REPORT_NAME
from seatwright.disk.leftovers import stays_inside
from seatwright.disk.regular_files import regular_bytes
from seatwright.disk.text_files import refused
from seatwright.errors import Fault, RenderError

_MOST_BYTES = 64 * 2**20
_ENCODINGS = ("wav PCM_16", "wav PCM_24", "wav FLOAT", "flac PCM_16", "flac PCM_24")


@dataclass(frozen=True)
class ListedFile:
    """A file and its SHA-256: an output by its path in the folder, an input as it was given."""

    file: str
    sha256: str
    kind: str = ""
    name: str = ""


@dataclass(frozen=True)
class ListedRender:
    """A render by its report.

    Parameters
    ----------
    folder : Path
    rate, frames : int
        Of every output: samples per second, length.
    encoding : str
        "PCM_16", "PCM_24" or "FLOAT".
    kind : str
        "WAV" or "FLAC".
    response_frames : int
        Length of the impulse responses.
    outputs : tuple of ListedFile
        The mix first.
    removed : tuple of ListedFile
        Outputs of the render before that this one took away.
    inputs : tuple of ListedFile
        Scene and stems.
    sections : dict of str to str
        Section of every seat.
    """

    folder: Path
    rate: int
    frames: int
    encoding: str
    kind: str
    response_frames: int
    outputs: tuple[ListedFile, ...]
    removed: tuple[ListedFile, ...]
    inputs: tuple[ListedFile, ...]
    sections: dict[str, str]

    def of_kind(self, kind: str) -> tuple[ListedFile, ...]:
        """Outputs of a kind, "mix", "sections", "stems" or "perspectives"."""
        return tuple(output for output in self.outputs if output.kind == kind)


def listed_render(folder: Path) -> ListedRender:
    """Read the report of a folder.

    Raises
    ------
    RenderError
        If the report is damaged, or lists what no render writes.
    DiskError
        If it cannot be read.
    """
    path = folder / REPORT_NAME
    try:
        facts = _facts(path)
        return _listed(folder, facts)
    except OSError as error:
        raise refused(path, "cannot be read", error) from error
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        what = f"found a damaged report ({_why(error)}), wanted one as render writes it"
        raise RenderError(Fault(what, file=str(path), hint="render again")) from error


def _facts(path: Path) -> dict[str, Any]:
    data = regular_bytes(path, _MOST_BYTES)
    if len(data) > _MOST_BYTES:
        raise ValueError(f"more than {_MOST_BYTES} bytes")
    facts = json.loads(data)
    if not isinstance(facts, dict) or facts.get("report_format") != 1:
        raise ValueError("its report_format is not 1")
    return facts


def _why(error: Exception) -> str:
    if isinstance(error, KeyError):
        return f"no {error.args[0]}"
    return "nested too deeply" if isinstance(error, RecursionError) else str(error)


def _listed(folder: Path, facts: dict[str, Any]) -> ListedRender:
    if facts["encoding"] not in _ENCODINGS:
        raise ValueError(f"unknown encoding {str(facts['encoding'])[:40]}")
    kind, encoding = facts["encoding"].split()
    outputs = tuple(_file(row, row["kind"], row["name"]) for row in facts["outputs"])
    if [output.kind for output in outputs[:1]] != ["mix"]:
        raise ValueError("its first output is no mix")
    for output in outputs:
        _check_place(output, kind)
    removed = tuple(_file(row) for row in facts.get("removed", ()))
    for old in removed:
        _check_inside(old.file)
    inputs = tuple(dict.fromkeys(_file(row) for row in facts["stems"]))
    for files in (outputs, removed, inputs):
        _refuse_repeated(files)
    scene = ListedFile(_text(facts["scene"]), _text(facts["scene_sha256"]))
    return ListedRender(
        folder,
        _whole(facts["rate"]),
        _whole(facts["frames"]),
        encoding,
        kind.upper(),
        _whole(facts["response_frames"]),
        outputs,
        removed,
        (scene, *inputs),
        {_text(row["seat"]): _text(row["section"]) for row in facts["seats"]},
    )


def _file(row: dict[str, Any], kind: str = "", name: str = "") -> ListedFile:
    return ListedFile(_text(row["file"]), _text(row["sha256"]), _text(kind), _text(name))


def _refuse_repeated(files: Sequence[ListedFile]) -> None:
    """Each is read from end to end: a report of many rows of one file would take for ever."""
    counts = Counter(listed.file for listed in files)
    for file, count in counts.items():
        if count > 1:
            times = "twice" if count == 2 else f"{count} times"
            raise ValueError(f"it lists {file[:80]} {times}")


def _check_inside(file: str) -> tuple[str, ...]:
    """Parts of a path that stays in the folder: a file, or one in a folder of outputs."""
    if not stays_inside(file):
        raise ValueError(f'the output "{file[:80]}" leads elsewhere')
    return tuple(file.split("/"))


def _check_place(output: ListedFile, ending: str) -> None:
    parts = _check_inside(output.file)
    place = "mix" if len(parts) == 1 else parts[0]
    wanted = output.file == f"mix.{ending}" or (len(parts) == 2 and parts[1].endswith(f".{ending}"))
    if place != output.kind or not wanted:
        raise ValueError(f'the output "{output.file[:80]}" is no {output.kind[:20]} in {ending}')


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(f"{str(value)[:40]} where a text belongs")
    return value


def _whole(value: object) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 < value < 2**53:
        raise TypeError(f"{str(value)[:40]} where a whole number above 0 belongs")
    return value
