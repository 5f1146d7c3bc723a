"""Is a compared set still what its trial says: the sounds that are voted on, and the page."""

from __future__ import annotations

import json
from pathlib import Path

from seatwright.disk.ballot_files import read_trial
from seatwright.disk.earlier_render import REPORT_NAME
from seatwright.disk.listed_render import ListedFile
from seatwright.disk.output_checks import hash_faults, read_back
from seatwright.disk.output_names import output_name
from seatwright.disk.regular_files import regular_bytes
from seatwright.disk.stems import StemReader, inspect_stem
from seatwright.disk.text_files import refused
from seatwright.errors import Fault, RenderError, SceneError
from seatwright.listening.trial import Trial
from seatwright.sound.rounding import rounding_error

TRIAL_NAME = "trial.json"
RENDERS = "renders"
"""Folder of the renders of all versions that are scenes, one folder each."""

_PAGE = "audition.html"
_BLOCK = 2**15
_MOST_BYTES = 64 * 2**20


def listed_trial(folder: Path) -> Trial:
    """The trial of a folder; RenderError if its manifest is damaged, DiskError if unreadable."""
    try:
        return read_trial(folder / TRIAL_NAME)
    except SceneError as error:
        raise RenderError(error.faults) from error


def matched_files(trial: Trial) -> tuple[ListedFile, ...]:
    """The lossless sounds of all versions, but for hidden twins, which have none of their own."""
    return tuple(
        ListedFile(f"matched/{output_name(version.name)}.flac", version.sha256, name=version.name)
        for version in trial.versions
        if version.twin_of is None
    )


def twin_faults(folder: Path, trial: Trial) -> list[Fault]:
    """Hidden twins that are another sound than their original."""
    hashes = {version.id: version.sha256 for version in trial.versions}
    return [
        Fault(
            f"found {twin}, the twin of {original}, with a sound of its own, wanted the same",
            file=str(folder / TRIAL_NAME),
        )
        for twin, original in trial.twins
        if hashes[twin] != hashes[original]
    ]


def matched_faults(folder: Path, listed: ListedFile) -> list[Fault]:
    """What one version's files are not: there, whole, unchanged, one sound in both kinds."""
    flac = folder / listed.file
    wav = flac.with_suffix(".wav")
    faults = [fault for path in (flac, wav) for fault in read_back(path)[1]]
    if flac.is_file():
        faults += hash_faults(flac, listed.sha256)
    return faults or _unlike(flac, wav)


def page_faults(folder: Path, trial: Trial) -> list[Fault]:
    """Whether the page is there to its end and is that of the trial."""
    path = folder / _PAGE
    if not path.is_file():
        return [Fault("found no such file, wanted the page of the trial", file=str(path))]
    try:
        page = path.read_bytes()
    except OSError as error:
        raise refused(path, "cannot be read", error) from error
    faults = []
    if not page.rstrip().endswith(b"</html>"):
        faults.append(Fault('found another end, wanted "</html>"', file=str(path)))
    if trial.id.encode() not in page:
        faults.append(Fault(f"found another trial's page, wanted {trial.id}", file=str(path)))
    return faults


def render_folders(folder: Path) -> list[Path]:
    """Renders that stand in a comparison, sorted; links lead out of it and are not followed."""
    place = folder / RENDERS
    if place.is_symlink() or not place.is_dir():
        return []
    inside = sorted(path for path in place.iterdir() if not path.is_symlink())
    return [path for path in inside if path.is_dir() and (path / REPORT_NAME).exists()]


def missing_renders(folder: Path, trial: Trial) -> list[Fault]:
    """Versions that were rendered and whose renders cannot be verified; mixes had none."""
    found = {path.name for path in render_folders(folder)}
    names = [version.name for version in trial.versions if version.twin_of is None]
    missing = [name for name in names if output_name(name) not in found]
    placed = _placed(folder)
    if placed:
        missing = [name for name in missing if name in placed]
    elif not trial.seats or len(missing) < len(names):
        missing = []  # one scene beside mixes: nothing says which one it was
    if not missing:
        return []
    named = ", ".join(f'"{name}"' for name in missing)
    what = f"found no renders of the versions {named}: they could not be verified"
    hint = "a link is not followed; comparing again renders them"
    return [Fault(what, file=str(folder / RENDERS), hint=hint)]


def _placed(folder: Path) -> set[str]:
    """Versions that are scenes, where at least two were; read as data from anywhere."""
    try:
        facts = json.loads(regular_bytes(folder / "differences.json", _MOST_BYTES))
        return {str(pair[key]) for pair in facts["pairs"] for key in ("first", "second")}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return set()


def _unlike(flac: Path, wav: Path) -> list[Fault]:
    """Whether both kinds of a version differ by more than 16 bits with dither and 24 bits do."""
    one, other = (inspect_stem(path)[0] for path in (flac, wav))
    if (one.rate, one.channels, one.frames) != (other.rate, other.channels, other.frames):
        what = f"found {other.frames} frames at {other.rate} Hz, wanted {one.frames} at {one.rate}"
        return [Fault(f"{what} Hz as in {flac.name}", file=str(wav))]
    allowed = rounding_error("PCM_16") + rounding_error("PCM_24")
    with StemReader(one, one.rate) as first, StemReader(other, one.rate) as second:
        for start in range(0, one.frames, _BLOCK):
            frames = min(_BLOCK, one.frames - start)
            apart = float(abs(first.read(start, frames) - second.read(start, frames)).max())
            if apart > allowed:
                what = f"found samples {apart:.3g} apart from those in {flac.name}"
                where = f"between {start / one.rate:.2f} and {(start + frames) / one.rate:.2f} s"
                return [Fault(f"{what} {where}, wanted at most {allowed:.3g}", file=str(wav))]
    return []
