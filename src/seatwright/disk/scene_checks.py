"""Checks of a parsed scene that gather every fault: types, rules, names that clash, paths."""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from seatwright.acoustics.room import room_of
from seatwright.disk.output_names import output_name
from seatwright.disk.scene_words import Refusal, refusals
from seatwright.disk.stem_paths import (
    StemFiles,
    StemNames,
    audio_files,
    find_stems,
    is_inside,
    leaving,
    stem_folder,
    stem_names,
)
from seatwright.errors import Fault, SceneError
from seatwright.stage.description import dotted_key
from seatwright.stage.rules import scene_faults
from seatwright.stage.scene import SCENE_FORMAT, Scene

_OUTSIDE_HINT = "--allow-outside reads it all the same"
_NAMED_FILES = 8
MOST_STEMS = 4096
"""Stems of a scene: far more than an orchestra's, few enough to look each of them up."""

_TOLD_MISTAKES = 2000
"""Mistakes of type that are put in words, which takes its time; of more, the first."""

_UNREAD_BY_RULES = ("format", "title", "stems", "rate", "align")


def too_many_stems(table: Mapping[str, Any]) -> Iterator[Fault]:
    """A fault where more stems are named than anybody has; the disk is not asked for them."""
    seats = table.get("seats")
    named = [seat.get("stem") for seat in _tables(seats) if isinstance(seat, dict)]
    count = sum(len(stem) if isinstance(stem, list) else 1 for stem in named)
    if count > MOST_STEMS:
        yield Fault(f"found {count} stems, wanted at most {MOST_STEMS} in a scene", key="seats")


def _tables(value: Any) -> Iterable[Any]:
    return value.values() if isinstance(value, dict) else ()


def checked(table: Mapping[str, Any]) -> tuple[Scene | None, list[Fault]]:
    """Validate a parsed scene and run every rule on it.

    Parameters
    ----------
    table : mapping
        The parsed scene file.

    Returns
    -------
    scene : Scene or None
        None where a type or key is wrong.
    faults : list of Fault
        With keys; the rules have also run on what is left without its faulty seats.
    """
    newer = list(_newer_format(table))
    try:
        scene = Scene.model_validate(table)
    except ValidationError as error:
        refused = refusals(error, table, _TOLD_MISTAKES)
        if (count := error.error_count()) > _TOLD_MISTAKES:
            what = f"found {count} mistakes, wanted none: the first {_TOLD_MISTAKES} are looked at"
            return None, [*newer, Fault(what), *(refusal.fault for refusal in refused)]
        rest = _without(table, refused)
        faults = [*newer, *(refusal.fault for refusal in refused)]
        return None, faults + (_rule_faults(rest) if rest else [])
    return scene, newer + _rule_faults(scene)


def _rule_faults(scene: Scene) -> list[Fault]:
    found = [fault for fault in scene_faults(scene) if fault.key != "format"]
    return [*found, *_room_faults(scene), *_clashes(scene)]


def _room_faults(scene: Scene) -> Iterator[Fault]:
    """A target reverberation that the hall cannot reach."""
    try:
        room_of(scene.hall)
    except SceneError as error:
        yield from error.faults


def _without(table: Mapping[str, Any], refused: Iterable[Refusal]) -> Scene | None:
    """The scene without its faulty seats; None where something else than a seat is wrong."""
    dropped: dict[str, set[str]] = {"seats": set(), "seatings": set()}
    for refusal in refused:
        top, *below = refusal.path
        if below and top in dropped:
            dropped[top].add(below[0])
        elif not (top in _UNREAD_BY_RULES or (refusal.kind == "extra_forbidden" and not below)):
            return None
    kept = {
        key: value for key, value in table.items()
        if key not in _UNREAD_BY_RULES and key in Scene.model_fields
    }  # fmt: skip
    seats, seatings = dropped["seats"], dropped["seatings"]
    kept["seats"] = _but(kept["seats"], seats)
    kept["seatings"] = {
        name: _but(changes, seats)
        for name, changes in _but(kept.get("seatings", {}), seatings).items()
    }
    try:
        return Scene.model_validate(kept)
    except ValidationError:
        return None


def _but(table: Mapping[str, Any], names: set[str]) -> dict[str, Any]:
    return {name: value for name, value in table.items() if name not in names}


def _newer_format(table: Mapping[str, Any]) -> Iterator[Fault]:
    number = table.get("format")
    if isinstance(number, int) and number > SCENE_FORMAT:
        yield Fault(
            f"found scene format {number}, wanted {SCENE_FORMAT}",
            key="format",
            hint="made for a newer seatwright; other faults may come of that",
        )


def _clashes(scene: Scene) -> Iterator[Fault]:
    """Names that become one file name on some systems, by case or Unicode form."""
    seats = {name: dotted_key("seats", name) for name in scene.seats}
    seatings = {name: dotted_key("seatings", name) for name in scene.seatings}
    for keys in (seats, _section_keys(scene), seatings):
        first: dict[str, str] = {}
        for name, key in keys.items():
            plain = unicodedata.normalize("NFD", output_name(name)).casefold()
            other = first.setdefault(unicodedata.normalize("NFC", plain), name)
            if other != name:
                yield _clash(name, other, key)


def _clash(name: str, other: str, key: str) -> Fault:
    found = f'"{name}" and "{other}"'
    if unicodedata.normalize("NFC", name) == unicodedata.normalize("NFC", other):
        found = f'"{name}" in two Unicode forms'
    return Fault(
        f"found {found}, wanted names that stay apart as file names",
        key=key,
        hint="case, Unicode form, marks such as ? and *, and all beyond 120 bytes do not count",
    )


def _section_keys(scene: Scene) -> dict[str, str]:
    """Where each section is named first: its own table, else a seat."""
    keys = {name: dotted_key("sections", name) for name in scene.sections}
    for name, seat in scene.seats.items():
        keys.setdefault(seat.section_name, dotted_key("seats", name, "section"))
    return keys


def outside_faults(table: Mapping[str, Any], folder: Path) -> list[Fault]:
    """Name the stem folder and the stems that leave where they may be.

    Parameters
    ----------
    table : mapping
        The parsed scene file, with whatever other faults.
    folder : Path
        Of the scene file.

    Returns
    -------
    list of Fault
        An absolute or linked stem folder; stems that leave theirs by an absolute path, by
        ".." or by a link.
    """
    stems = table.get("stems", ".")
    if not isinstance(stems, str) or "\0" in stems:
        return []
    root, names = stem_folder(folder, stems), written_names(table)
    faults = list(_folder_faults(folder, stems, root))
    faults += [
        Fault(
            f'found {how} in "{name}", wanted a stem inside the stems folder',
            key=key,
            hint=_OUTSIDE_HINT,
        )
        for stems_of_seat in names.values()
        for key, name in stems_of_seat
        if (how := leaving(name))
    ]
    return faults if faults else linked_outside(find_stems(names, root)[0], root)


def _folder_faults(folder: Path, stems: str, root: Path) -> Iterator[Fault]:
    if leaving(stems) == "an absolute path":
        what = f'found an absolute path "{stems}", wanted a folder relative to the scene file'
        yield Fault(what, key="stems", hint=_OUTSIDE_HINT)
        return
    written = Path(os.path.normpath(os.path.realpath(folder) / Path(stems)))
    if root != written and not is_inside(root, folder):
        what = f'found a link in "{stems}" that leads to {root}, wanted the folder itself'
        yield Fault(what, key="stems", hint=_OUTSIDE_HINT)


def written_names(table: Mapping[str, Any]) -> StemNames:
    """Stem names as written, of seats with other faults too."""
    seats = table.get("seats")
    written: dict[str, Any] = {}
    for name, seat in seats.items() if isinstance(seats, dict) else ():
        stem = seat.get("stem") if isinstance(seat, dict) else None
        items = stem if isinstance(stem, list) else [stem]
        if all(isinstance(item, str) and "\0" not in item for item in items):
            written[name] = stem
    return stem_names(written)


def linked_outside(files: Mapping[str, tuple[StemFiles, ...]], root: Path) -> list[Fault]:
    """A fault for each stem file that is outside `root` once links are followed."""
    return [
        Fault(
            f'found a link at "{path.name}" that leads outside the stems folder, '
            "wanted the stem itself",
            key=dotted_key("seats", seat, "stem"),
            hint=_OUTSIDE_HINT,
        )
        for seat, stems in files.items()
        for stem in stems
        for path in stem.paths
        if not is_inside(path, root)
    ]


def openable_stems(
    names: StemNames, root: Path, allow_outside: bool
) -> tuple[dict[str, tuple[StemFiles, ...]], list[Fault]]:
    """Stems that may be opened.

    Parameters
    ----------
    names : dict of str to tuple of (str, str)
        From `stem_names`.
    root : Path
        Folder of the stems.
    allow_outside : bool
        Also those that lie outside of it, which are left out without a word otherwise:
        `outside_faults` names them.

    Returns
    -------
    files : dict of str to tuple of StemFiles
    faults : list of Fault
        Of those that are not there.
    """
    if allow_outside:
        return find_stems(names, root)
    inside = {
        seat: tuple((key, name) for key, name in stems if not leaving(name))
        for seat, stems in names.items()
    }
    files, faults = find_stems(inside, root)
    kept = {
        seat: tuple(stem for stem in stems if all(is_inside(path, root) for path in stem.paths))
        for seat, stems in files.items()
    }
    return kept, faults


def unused_files(files: Mapping[str, tuple[StemFiles, ...]], root: Path) -> Iterator[Fault]:
    """A doubt where audio files lie in the stems folder that no seat plays.

    Parameters
    ----------
    files : mapping of str to tuple of StemFiles
        What the seats play.
    root : Path
        Folder of the stems; folders in it are not looked into.

    Returns
    -------
    iterator of Fault
        One at most, for all of them together.
    """
    played = {
        os.path.realpath(path) for stems in files.values() for stem in stems for path in stem.paths
    }
    idle = [path.name for path in audio_files(root) if os.path.realpath(path) not in played]
    if not idle:
        return
    more = f" and {len(idle) - _NAMED_FILES} more" if len(idle) > _NAMED_FILES else ""
    count = "an audio file" if len(idle) == 1 else f"{len(idle)} audio files"
    yield Fault(
        f"found {count} that no seat plays: {', '.join(idle[:_NAMED_FILES])}{more}", key="stems"
    )


def repeated_stems(scene: Scene, root: Path) -> Iterator[Fault]:
    """A doubt for each file that is played from two seats, or twice from one."""
    names = stem_names({name: seat.stem for name, seat in scene.seats.items()})
    files, _ = find_stems(names, root)
    first: dict[str, str] = {}
    for seat, stems in files.items():
        for path in (path for stem in stems for path in stem.paths):
            real = os.path.realpath(path)
            if real in first:
                where = f'on seat "{first[real]}" too' if first[real] != seat else "twice"
                what = f"found {path.name} {where}, wanted each stem on one seat"
                yield Fault(what, key=dotted_key("seats", seat, "stem"))
            first.setdefault(real, seat)
