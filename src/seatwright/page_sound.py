"""What a page plays: its versions and sections, encoded all alike and small enough to open."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.comparison_set import version_file
from seatwright.disk.page_audio import BEST_QUALITY, LEAST_QUALITY, flac, vorbis
from seatwright.errors import Fault, SceneError
from seatwright.listening.comparison import faded
from seatwright.matched_set import MatchedSet
from seatwright.versions import Version

PageAudio = Literal["auto", "flac", "vorbis"]

LARGE_PAGE = 25 * 10**6
"""Bytes above which a page is slow to open and too much for some telephones."""

SMALL_QUALITY = 8
"""Of Vorbis where it is asked for: about a third of FLAC in a tutti."""

_HIGHEST = 0.89
"""Of a section alone: -1 dBFS."""

_MOST_SAVED = 3.0
"""How many times smaller the least quality is than the best, at most."""

_WRAPPING = 200
"""Bytes of the element around a file, and of its name."""

_Encoder = Callable[[NDArray[np.float32]], bytes]


@dataclass(frozen=True)
class PageSound:
    """The audio of a page.

    Parameters
    ----------
    codec : str
        What a browser must decode, for people: "FLAC" or "Vorbis".
    note : str
        What the page carries and why, in a sentence.
    versions : tuple of bytes
        A file a version.
    sections : dict of str to tuple of bytes
        A file a version for each section that is heard alone.
    """

    codec: str
    note: str
    versions: tuple[bytes, ...]
    sections: dict[str, tuple[bytes, ...]]

    @property
    def page_bytes(self) -> int:
        """Bytes of all files in base64, and of what wraps them in the page."""
        files = [*self.versions, *(data for each in self.sections.values() for data in each)]
        return sum(4 * -(-len(data) // 3) + _WRAPPING for data in files)


def page_sound(
    versions: Sequence[Version],
    matched: MatchedSet,
    lossless: Sequence[bytes],
    kind: PageAudio,
    other_bytes: int,
    *,
    sections: bool,
) -> PageSound:
    """Encode a page's audio.

    Parameters
    ----------
    versions : sequence of Version
    matched : MatchedSet
    lossless : sequence of bytes
        FLAC of each matched version.
    kind : str
        "flac"; "vorbis" of quality 8; or "auto": FLAC where the page stays under 25 MB with it,
        else Vorbis. Vorbis takes the highest quality that stays under 25 MB, at least 6.
    other_bytes : int
        Of the page without audio.
    sections : bool
        Also encode the section bounces that all versions have, at the gains of their mixes.

    Returns
    -------
    PageSound

    Raises
    ------
    SceneError
        If sections are wanted and the versions share none.
    DiskError
        If a bounce cannot be read or the encoder refuses.
    """
    parts = _Parts(versions, matched) if sections else None
    if kind == "vorbis":
        return _smaller(matched, parts, other_bytes, SMALL_QUALITY, "as asked for")
    whole = _encoded(parts, lambda samples: flac(samples, matched.rate))
    sound = PageSound("FLAC", "FLAC of 16 bits, lossless", tuple(lossless), whole)
    size = other_bytes + sound.page_bytes
    if kind == "flac" or size <= LARGE_PAGE:
        return sound
    why = f"because losslessly the page would have {size / 1e6:.0f} MB"
    return _smaller(matched, parts, other_bytes, BEST_QUALITY, why)


def _smaller(
    matched: MatchedSet, parts: _Parts | None, other_bytes: int, best: int, why: str
) -> PageSound:
    """Vorbis of the highest quality from `best` down that keeps the page small enough."""
    sound = _vorbis(matched, parts, best, why)
    qualities = range(best - 1, LEAST_QUALITY - 1, -1)
    if other_bytes + sound.page_bytes / _MOST_SAVED > LARGE_PAGE:
        qualities = range(LEAST_QUALITY, LEAST_QUALITY - 1, -1)  # what lies between is in vain
    for quality in qualities:
        if other_bytes + sound.page_bytes <= LARGE_PAGE:
            break
        sound = _vorbis(matched, parts, quality, why)
    return sound


def _vorbis(matched: MatchedSet, parts: _Parts | None, quality: int, why: str) -> PageSound:
    def encode(samples: NDArray[np.float32]) -> bytes:
        return vorbis(samples, matched.rate, quality)

    note = f"Vorbis of quality {quality} of 10, lossy, {why}"
    return PageSound("Vorbis", note, tuple(map(encode, matched.samples)), _encoded(parts, encode))


def shared_sections(versions: Sequence[Version]) -> list[str]:
    """Names of the sections that all versions have; SceneError where there are none."""
    names = [
        name for name in versions[0].sections if all(name in each.sections for each in versions)
    ]
    if not names:
        raise SceneError(
            Fault(
                "found no section that all versions have, wanted some for --sections",
                hint="mixes from elsewhere have no section bounces",
            )
        )
    return names


class _Parts:
    """Section bounces of every version over the stretch, at the gain of its mix.

    Sections may go over full scale where the mix does not: then all of them are turned down alike.
    """

    def __init__(self, versions: Sequence[Version], matched: MatchedSet):
        self._versions = versions
        self._matched = matched
        self.names = shared_sections(versions)
        peak = max(float(np.abs(part).max()) for name in self.names for part in self._raw(name))
        self._scale = np.float32(min(1.0, _HIGHEST / max(peak, 1e-9)))

    def of(self, name: str) -> Iterator[NDArray[np.float32]]:
        """A section in each version, shape (frames, 2)."""
        return (part * self._scale for part in self._raw(name))

    def _raw(self, name: str) -> Iterator[NDArray[np.float32]]:
        matched = self._matched
        for number, version in enumerate(self._versions):
            file, _ = version_file(name, version.sections[name])
            first, count = round(matched.start * matched.rate), len(matched.samples[number])
            samples = faded(file.excerpt(matched.rate, first, count), matched.rate)
            yield samples * np.float32(10.0 ** (matched.gains[number] / 20.0))


def _encoded(parts: _Parts | None, encode: _Encoder) -> dict[str, tuple[bytes, ...]]:
    if parts is None:
        return {}
    return {name: tuple(map(encode, parts.of(name))) for name in parts.names}
