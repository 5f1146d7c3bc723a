"""Compare: from versions to a fair set, what differs between them, and a page to vote on."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from seatwright.disk.comparison_set import made_folder, read_whole, write_version
from seatwright.disk.output_names import output_name
from seatwright.disk.store import Store
from seatwright.disk.text_files import write_text_files
from seatwright.errors import Fault
from seatwright.listening.comparison import Level, common_waveform, rendered_gains
from seatwright.listening.differences import differences, hall_changes
from seatwright.listening.trial import trial_manifest, version_row
from seatwright.matched_set import MatchedSet, matched_set
from seatwright.page_sound import LARGE_PAGE, PageAudio, PageSound, page_sound, shared_sections
from seatwright.render import Progress
from seatwright.stage.request import Request
from seatwright.versions import Version, ready_versions, wanted_versions
from seatwright.views.audition_page import Audition, PageVersion, audition_page
from seatwright.views.compare_table import Comparison, VersionRow
from seatwright.views.difference_table import Difference, difference_facts, difference_text
from seatwright.views.report import json_text
from seatwright.views.stage_plan import stage_plan

PAGE = "audition.html"


@dataclass(frozen=True)
class CompareRequest:
    """How to compare.

    Parameters
    ----------
    start, stop : float or None
        The stretch in seconds; the loudest 75 s where both are None.
    title : str
        Above the page; the scene's by default.
    twin : bool
        Hide a second copy of the first version among the others.
    identification : int
        Trials of which of the first two versions is heard; 0 for none.
    difference : bool
        Also write the difference of the first version and each other one.
    audio : str
        What the page carries: "flac", lossless; "vorbis", lossy and smaller; "auto", FLAC where
        the page stays under 25 MB with it.
    sections : bool
        The page also carries the section bounces that all versions have.
    threads : int
        0 for one a processor.
    allow_truncated, allow_outside : bool
        As for a render.
    """

    start: float | None = None
    stop: float | None = None
    title: str = ""
    twin: bool = False
    identification: int = 0
    difference: bool = False
    audio: PageAudio = "auto"
    sections: bool = False
    threads: int = 0
    allow_truncated: bool = False
    allow_outside: bool = False


def compare(
    words: Sequence[str],
    folder: Path,
    request: CompareRequest | None = None,
    progress: Progress = lambda _what, _share: None,
    store: Store | None = None,
) -> Comparison:
    """Make a comparison.

    Parameters
    ----------
    words : sequence of str
        Scenes, seatings of the scene before them, mixes; see `versions.wanted_versions`.
    folder : Path
        Made where missing; holds renders, the matched set, the page and what differs.
    request : CompareRequest, optional
    progress : callable
        Called with what is being done and how much of it is done, 0 to 1.
    store : Store, optional
        What seatings have in common is rendered once; changes no sample.

    Returns
    -------
    Comparison

    Raises
    ------
    SeatwrightError
        SceneError, StemError, DiskError or RenderError.
    """
    request = request or CompareRequest()
    wanted = wanted_versions(words, allow_outside=request.allow_outside)
    asked = Request(
        threads=request.threads,
        allow_truncated=request.allow_truncated,
        allow_outside=request.allow_outside,
    )
    versions, warnings = ready_versions(wanted, folder, asked, progress, store)
    if request.sections:
        shared_sections(versions)  # before anything is written
    progress("matching", 1.0)
    matched, more = matched_set(
        tuple(version.file for version in versions), request.start, request.stop
    )
    found = found_differences(versions)
    hashes = _write_set(folder, versions, matched)
    title = request.title or next((each.scene.title for each in wanted if each.scene), "")
    page_bytes, trial, sound = _write_page(folder, versions, matched, hashes, found, title, request)
    _write_differences(folder, versions, matched, found, request.difference)
    faults = [*warnings, *more, *_size_doubts(page_bytes, request, sound.codec)]
    return Comparison(
        title=title,
        trial=trial,
        folder=str(folder),
        page=PAGE,
        page_bytes=page_bytes,
        decoded_bytes=_decoded_bytes(matched, request.sections),
        audio=sound.note,
        rate=matched.rate,
        start=matched.start,
        seconds=matched.seconds,
        versions=tuple(map(_version_row, matched.levels, matched.gains)),
        differences=found,
        warnings=tuple(str(fault) for fault in faults),
    )


def _decoded_bytes(matched: MatchedSet, sections: bool) -> int:
    """Two channels of 32 bits for each version, and again for the one section that is heard."""
    return 8 * sum(map(len, matched.samples)) * (2 if sections else 1)


def _version_row(level: Level, gain: float) -> VersionRow:
    return VersionRow(level.name, level.integrated_lufs, level.true_peak_dbtp, gain)


def found_differences(versions: Sequence[Version]) -> tuple[Difference, ...]:
    """What differs between the first scene among the versions and each other one."""
    scenes = [(version, version.wanted.scene) for version in versions]
    placed = [(version, scene) for version, scene in scenes if scene is not None]
    return tuple(
        Difference(
            placed[0][0].wanted.name,
            version.wanted.name,
            differences(placed[0][1], scene, placed[0][0].seats, version.seats),
            hall_changes(placed[0][1], scene),
        )
        for version, scene in placed[1:]
    )


def _write_set(folder: Path, versions: Sequence[Version], matched: MatchedSet) -> list[str]:
    """Matched versions as 24-bit WAV and, for the page, 16-bit FLAC; the hashes of these."""
    place = made_folder(folder / "matched")
    hashes = []
    for version, samples in zip(versions, matched.samples, strict=True):
        file = output_name(version.wanted.name)
        write_version(place / f"{file}.wav", samples, matched.rate, "PCM_24")
        hashes.append(write_version(place / f"{file}.flac", samples, matched.rate, "PCM_16"))
    return hashes


def _write_page(
    folder: Path,
    versions: Sequence[Version],
    matched: MatchedSet,
    hashes: Sequence[str],
    found: Sequence[Difference],
    title: str,
    request: CompareRequest,
) -> tuple[int, str, PageSound]:
    """Write the page and its manifest; the page's bytes, the trial's identity, what it plays."""
    rows = [
        version_row(number, version.wanted.name, digest)
        for number, (version, digest) in enumerate(zip(versions, hashes, strict=True), start=1)
    ]
    if request.twin:
        name = f"{rows[0]['name']} (hidden twin)"
        rows.append(version_row(len(rows) + 1, name, rows[0]["sha256"], rows[0]["id"]))
    trial = trial_manifest(
        title, matched.seconds, rows, _seats(versions), request.identification, matched.start
    )
    silent = Audition(
        manifest=trial,
        codec="",
        rate=matched.rate,
        versions=tuple(PageVersion(b"", gain) for gain in rendered_gains(matched.gains)),
        waveform=common_waveform(matched.samples),
        differences=tuple(found),
        plan=_plan(versions),
    )
    files = [f"{output_name(version.wanted.name)}.flac" for version in versions]
    sound = page_sound(
        versions,
        matched,
        [read_whole(folder / "matched" / file) for file in files],
        request.audio,
        len(audition_page(silent).encode()),
        sections=request.sections,
    )
    page = audition_page(_with_sound(silent, sound))
    manifest = json.dumps(trial, indent=2, ensure_ascii=False) + "\n"
    write_text_files(folder, {"trial.json": manifest, PAGE: page})
    return len(page.encode()), str(trial["id"]), sound


def _with_sound(silent: Audition, sound: PageSound) -> Audition:
    heard = [
        replace(version, data=data)
        for version, data in zip(silent.versions, sound.versions, strict=True)
    ]
    return replace(
        silent,
        codec=sound.codec,
        audio_note=sound.note,
        versions=tuple(heard),
        sections=sound.sections,
    )


def _seats(versions: Sequence[Version]) -> list[str]:
    return list(dict.fromkeys(seat for version in versions for seat in version.seats))


def _plan(versions: Sequence[Version]) -> str:
    scene = next((version.wanted.scene for version in versions if version.wanted.read), None)
    return stage_plan(scene) if scene is not None else ""


def _write_differences(
    folder: Path,
    versions: Sequence[Version],
    matched: MatchedSet,
    found: Sequence[Difference],
    bounce: bool,
) -> None:
    if found:
        _write_tables(folder, versions, found)
    if not bounce:
        return
    place = made_folder(folder / "differences")
    first = versions[0].wanted.name
    for version, samples in zip(versions[1:], matched.samples[1:], strict=True):
        name = output_name(f"{version.wanted.name} minus {first}")
        difference = samples - matched.samples[0]
        write_version(place / f"{name}.wav", difference, matched.rate, "FLOAT")


def _write_tables(folder: Path, versions: Sequence[Version], found: Sequence[Difference]) -> None:
    texts = {
        "differences.txt": difference_text(found) + "\n",
        "differences.json": json_text(difference_facts(found)),
    }
    placed = [version for version in versions if version.wanted.scene is not None]
    first = placed[0].wanted
    for version in placed[1:]:
        scene, name = version.wanted.scene, version.wanted.name
        if scene is not None:
            title = f"{scene.title}, {name} (dashed: {first.name})"
            picture = stage_plan(scene, first.scene, title)
            texts[f"{output_name(f'moved, {name}')}.svg"] = picture
    write_text_files(folder, texts)


def _size_doubts(page_bytes: int, request: CompareRequest, codec: str) -> list[Fault]:
    if page_bytes <= LARGE_PAGE:
        return []
    what = f"the page has {page_bytes / 1e6:.0f} MB, wanted at most {LARGE_PAGE / 1e6:.0f} MB"
    ways = ["a shorter stretch with --from and --to"]
    ways += ["no --sections"] if request.sections else []
    ways += ["--audio auto"] if codec == "FLAC" else []
    hint = f"makes it smaller: {', '.join(reversed(ways))}"
    return [Fault(what, file=PAGE, hint=hint)]
