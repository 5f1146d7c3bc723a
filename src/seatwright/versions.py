"""Versions: from the words of a command to the mixes they mean, rendered where they are not yet."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from seatwright.disk.comparison_set import VersionFile, version_file
from seatwright.disk.output_names import output_name
from seatwright.disk.scene_file import ReadScene, read_scene
from seatwright.disk.store import Store
from seatwright.errors import Fault, SceneError, SeatwrightError
from seatwright.plans import AS_WRITTEN, seated
from seatwright.render import Progress, render
from seatwright.stage.request import Request
from seatwright.stage.rules import nearest
from seatwright.stage.scene import Scene

AUDIO_ENDINGS = (".wav", ".flac", ".aif", ".aiff", ".aifc", ".wave", ".rf64", ".bwf")
_SCENE_ENDING = ".toml"
MOST_VERSIONS = 12


@dataclass(frozen=True)
class Wanted:
    """A version that was asked for.

    Parameters
    ----------
    name : str
        As it is shown after the vote.
    path : Path
        A scene file, or a mix.
    read : ReadScene or None
        The scene; None for a mix from elsewhere.
    seating : str or None
        None for the scene as written.
    """

    name: str
    path: Path
    read: ReadScene | None = field(default=None, repr=False)
    seating: str | None = None

    @property
    def scene(self) -> Scene | None:
        """The scene in its seating; None for a mix from elsewhere."""
        return seated(self.read, self.seating) if self.read else None


@dataclass(frozen=True)
class Version:
    """A version with its mix.

    Parameters
    ----------
    wanted : Wanted
    file : VersionFile
    seats : mapping of str to mapping
        Rows of the seats as in report.json; empty for a mix from elsewhere.
    sections : mapping of str to Path
        Its section bounces; empty for a mix from elsewhere.
    """

    wanted: Wanted
    file: VersionFile
    seats: Mapping[str, Mapping[str, Any]]
    sections: Mapping[str, Path]


def wanted_versions(words: Sequence[str], *, allow_outside: bool = False) -> tuple[Wanted, ...]:
    """What the words of a command ask for.

    Parameters
    ----------
    words : sequence of str
        Scene files, seatings of the scene before them ("written" is the scene without any), and
        mixes. A scene that no seating follows stands as written.

    Returns
    -------
    tuple of Wanted
        At least two, their names all different.

    Raises
    ------
    SceneError
        If a word is none of these, if two are the same, or if there are fewer than two versions.
    """
    found: list[Wanted] = []
    read: ReadScene | None = None
    used = True
    for word in words:
        kind = _kind(word, read)
        if kind != "seating" and read is not None and not used:
            found.append(_as_written(read))
        if kind == "scene":
            read, used = read_scene(Path(word), allow_outside=allow_outside), False
        elif kind == "mix":
            found.append(Wanted(Path(word).stem, Path(word)))
            used = True
        else:
            assert read is not None
            found.append(_seating(read, word))
            used = True
    if read is not None and not used:
        found.append(_as_written(read))
    return _distinct(found)


def _kind(word: str, read: ReadScene | None) -> str:
    ending = Path(word).suffix.lower()
    if read is not None and word in (*read.scene.seatings, AS_WRITTEN):
        return "seating"
    if ending == _SCENE_ENDING:
        return "scene"
    if ending in AUDIO_ENDINGS:
        return "mix"
    if read is None:
        what = f'found "{word}", wanted a scene file (.toml) or a mix ({", ".join(AUDIO_ENDINGS)})'
        raise SceneError(what)
    known = (AS_WRITTEN, *read.scene.seatings)
    raise SceneError(
        Fault(
            f'found no seating "{word}", wanted one of: {", ".join(known)}; or a scene or a mix',
            file=str(read.path),
            hint=nearest(word, known),
        )
    )


def _seating(read: ReadScene, word: str) -> Wanted:
    if word in read.scene.seatings:
        return Wanted(word, read.path, read, word)
    return Wanted("as written", read.path, read)


def _as_written(read: ReadScene) -> Wanted:
    return Wanted(read.path.stem, read.path, read)


def _distinct(found: list[Wanted]) -> tuple[Wanted, ...]:
    sources = Counter((wanted.path, wanted.seating) for wanted in found)
    twice = [wanted for wanted in found if sources[wanted.path, wanted.seating] > 1]
    if twice:
        hint = "--twin hides a second copy of the first version"
        what = f'found version "{twice[0].name}" twice, wanted versions that differ'
        raise SceneError(Fault(what, file=str(twice[0].path), hint=hint))
    if not 2 <= len(found) <= MOST_VERSIONS:
        named = ", ".join(f'"{wanted.name}"' for wanted in found) or "none"
        what = f"found {len(found)} versions ({named}), wanted 2 to {MOST_VERSIONS}"
        raise SceneError(Fault(what, hint="name seatings, scenes or mixes"))
    names = Counter(output_name(wanted.name).casefold() for wanted in found)
    return tuple(
        replace(wanted, name=_longer(wanted, number))
        if names[output_name(wanted.name).casefold()] > 1
        else wanted
        for number, wanted in enumerate(found, start=1)
    )


def _longer(wanted: Wanted, number: int) -> str:
    return f"{number} {wanted.path.stem}, {wanted.name}"


def ready_versions(
    wanted: Sequence[Wanted],
    folder: Path,
    request: Request,
    progress: Progress,
    store: Store | None = None,
) -> tuple[tuple[Version, ...], list[Fault]]:
    """Mixes of all versions, rendered where they are not yet.

    Parameters
    ----------
    wanted : sequence of Wanted
    folder : Path
        Renders go to its folder "renders", one folder a version.
    request : Request
        Threads and what is allowed; all else is as comparisons need it.
    progress : callable
    store : Store, optional

    Returns
    -------
    versions : tuple of Version
    warnings : list of Fault

    Raises
    ------
    SeatwrightError
        With the faults of every version that cannot be had.
    """
    versions: list[Version] = []
    warnings: list[Fault] = []
    faults: list[Fault] = []
    failure: SeatwrightError | None = None
    mixes = [each for each in wanted if each.read is None]
    for each in mixes:  # before anything is rendered: a missing mix is told at once
        try:
            version_file(each.name, each.path, allow_truncated=request.allow_truncated)
        except SeatwrightError as error:
            failure = failure or error
            faults += error.faults
    if failure is not None:
        raise type(failure)(faults)
    for number, each in enumerate(wanted):
        version, more = _ready(each, folder, request, _share(progress, number, len(wanted)), store)
        versions.append(version)
        warnings += more
    return tuple(versions), warnings


def _share(progress: Progress, number: int, count: int) -> Progress:
    return lambda what, share: progress(what, (number + share) / count)


def _ready(
    wanted: Wanted, folder: Path, request: Request, progress: Progress, store: Store | None
) -> tuple[Version, list[Fault]]:
    if wanted.read is None:
        truncated = request.allow_truncated
        file, warnings = version_file(wanted.name, wanted.path, allow_truncated=truncated)
        return Version(wanted, file, {}, {}), warnings
    place = folder / "renders" / output_name(wanted.name)
    asked = replace(request, seating=wanted.seating, depth="float", trim_db=0.0)
    # what stands there already is left as it is, where the store knows it
    report = json.loads(render(wanted.path, place, asked, progress, store).as_json())
    file, warnings = version_file(wanted.name, place / "mix.wav")
    seats = {row["seat"]: row for row in report["seats"]}
    sections = {
        row["name"]: place / row["file"] for row in report["outputs"] if row["kind"] == "sections"
    }
    return Version(wanted, file, seats, sections), warnings
