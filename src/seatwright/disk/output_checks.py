"""Are the outputs of a render still what its report says, and is nothing else among them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from seatwright.disk.earlier_render import REPORT_NAME
from seatwright.disk.leftovers import JOURNAL_NAME, KINDS
from seatwright.disk.listed_render import ListedFile, ListedRender
from seatwright.disk.render_lock import LOCK_NAME
from seatwright.disk.stems import Stem, content_hash, inspect_stem
from seatwright.disk.text_files import refused
from seatwright.errors import DiskError, Fault, StemError

_ENDS = {"report.txt": b"practice go first.\n", "report.html": b"</html>"}
"""How a complete report ends."""

_LAST_BYTES = 64


def output_faults(render: ListedRender, output: ListedFile) -> list[Fault]:
    """All that one output is not: there, whole, of its length, rate and encoding, unchanged.

    Raises
    ------
    DiskError
        If the disk refuses to give it.
    """
    path = render.folder / output.file
    stem, faults = read_back(path)
    if stem is not None:
        faults = [
            Fault(f"found {found}, wanted {wanted}", file=str(path))
            for found, wanted in (
                (f"{stem.frames} frames", f"{render.frames} frames"),
                (f"{stem.rate} Hz", f"{render.rate} Hz"),
                (f"{stem.channels} channels", "2 channels"),
                (stem.encoding, render.encoding),
                (_kind_of(path), render.kind),
            )
            if found != wanted
        ]
    if path.is_file():
        faults += hash_faults(path, output.sha256)
    return faults


def read_back(path: Path) -> tuple[Stem | None, list[Fault]]:
    """A file's audio by its header and last frame, or what keeps it from being read."""
    if not path.exists():
        return None, [Fault("found no such file, wanted an output", file=str(path))]
    try:
        return inspect_stem(path)[0], []
    except StemError as error:
        return None, [Fault(fault.what, file=str(path)) for fault in error.faults]


def hash_faults(path: Path, sha256: str) -> list[Fault]:
    """Whether a file that is there has another SHA-256; DiskError if it cannot be read."""
    try:
        found = content_hash(path)
    except StemError as error:
        raise DiskError(error.faults) from error
    if found == sha256:
        return []
    what = f"changed since it was written: found SHA-256 {found[:12]}..., wanted {sha256[:12]}..."
    return [Fault(what, file=str(path), hint="rendering again restores it")]


def report_faults(folder: Path) -> list[Fault]:
    """Whether the reports beside report.json are there to their end."""
    faults = []
    for name, end in _ENDS.items():
        path = folder / name
        if not path.is_file():
            faults.append(Fault("found no such file, wanted the report", file=str(path)))
        elif not _last_bytes(path).rstrip(b"\n").endswith(end.rstrip(b"\n")):
            what = f'found another end, wanted "{end.decode().strip()}"'
            faults.append(Fault(what, file=str(path), hint="cut off or changed; render again"))
    return faults


def removed_faults(render: ListedRender) -> list[Fault]:
    """Outputs of the render before that should be gone and are not."""
    written = {output.file for output in render.outputs}
    faults = []
    for old in render.removed:
        path = render.folder / old.file
        if old.file in written or not path.is_file() or hash_faults(path, old.sha256):
            continue  # what was put in its place since is somebody else's
        what = "found an output of the render before, wanted it removed"
        faults.append(Fault(what, file=str(path), hint="render again, or remove it"))
    return faults


def foreign_files(render: ListedRender) -> list[Fault]:
    """What stands in the folder and in no report, sorted; temporaries are told for themselves.

    Raises
    ------
    DiskError
        If a folder cannot be listed.
    """
    known = {output.file for output in render.outputs} | {REPORT_NAME, LOCK_NAME, *_ENDS}
    faults = []
    for file in _entries(render.folder):
        linked = file in KINDS and (render.folder / file).is_symlink()
        if file in known or (file in KINDS and not linked):
            continue
        what = "stands here and in no report"
        hint = ""
        if linked:
            what = "is a link: what stands there and in no report is not looked for"
        elif file == JOURNAL_NAME:
            what = "a render was cut off while its outputs were put in the place of others"
            hint = "the next render into this folder undoes that first"
        elif Path(file).name.startswith(".seatwright-"):
            what = "left by a render that was cut off, or of one that is at work"
            hint = "the next render into this folder removes what is left"
        faults.append(Fault(what, file=str(render.folder / file), hint=hint))
    return faults


def input_doubts(render: ListedRender, progress: Callable[[], None]) -> list[Fault]:
    """Scene and stems that have changed since, or that are no longer where they were."""
    doubts = []
    for listed in render.inputs:
        path = Path(listed.file)
        progress()
        try:
            found = content_hash(path)
        except StemError:
            what = "an input of this render is not found here any more"
            doubts.append(Fault(what, file=listed.file, hint="looked for from this folder"))
            continue
        if found != listed.sha256:
            what = f"has changed since it was rendered: SHA-256 {found}, was {listed.sha256}"
            doubts.append(Fault(what, file=listed.file, hint="render again to hear the change"))
    return doubts


def _kind_of(path: Path) -> str:
    with path.open("rb") as file:
        return {b"RIFF": "WAV", b"RF64": "WAV", b"fLaC": "FLAC"}.get(file.read(4), "another kind")


def _last_bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            file.seek(max(0, path.stat().st_size - _LAST_BYTES))
            return file.read(_LAST_BYTES)
    except OSError as error:
        raise refused(path, "cannot be read", error) from error


def _entries(folder: Path) -> list[str]:
    """Everything in the folder and in the folders of outputs in it, by path within it.

    What a linked one leads to is no part of the folder.
    """
    found = []
    for place in (folder, *(folder / kind for kind in KINDS)):
        if place != folder and (place.is_symlink() or not place.is_dir()):
            continue
        try:
            found += [path.relative_to(folder).as_posix() for path in place.iterdir()]
        except OSError as error:
            raise refused(place, "cannot be listed", error) from error
    return sorted(found)
