"""File names for outputs: what a name may hold on every common system, and which two clash."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

LONGEST_BYTES = 120
_FORBIDDEN = frozenset('/\\<>:"|?*')
_JOINERS = "\u200c\u200d"  # format characters that Persian, Hindi and others spell with
_RESERVED = frozenset(
    ["CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$"]
    + [port + digit for port in ("COM", "LPT") for digit in "123456789\u00b9\u00b2\u00b3"]
)


def output_name(text: str) -> str:
    """Turn the name of a section or stem into a file name, still without its suffix.

    Letters of all scripts, spaces and dashes stay. Path separators, control and invisible
    format characters, leading dots and any of ``< > : " | ? *`` become "_"; spaces and dots
    at the end go; names that Windows keeps for devices get a "_" before them.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        1 to 120 bytes of UTF-8 in Unicode form NFC. Its own output name is the same again.
    """
    name = "".join(map(_allowed, unicodedata.normalize("NFC", text)))
    dots = len(name) - len(name.lstrip("."))
    name = _cut("_" * dots + name[dots:])
    if name.split(".")[0].rstrip().upper() in _RESERVED:
        name = _cut("_" + name)
    return name or "unnamed"


def folder_name(scene: str, *parts: str) -> str:
    """Name of the folder of a render: the scene's, then what is special about this render.

    Parameters
    ----------
    scene : str
        Name of the scene file without its suffix, taken as it is.
    parts : str
        Seating and part, "" where there is none.
    """
    special = " ".join(part for part in parts if part)
    return f"{scene} {output_name(special)}" if special else scene


def clashes(names: Iterable[str]) -> list[tuple[str, str]]:
    """Find names that some file systems hold for the same.

    Parameters
    ----------
    names : iterable of str
        File names of one folder.

    Returns
    -------
    list of (str, str)
        Each later name with the first one it clashes with: alike but for upper and lower
        case or Unicode form, or altogether.
    """
    first: dict[str, str] = {}
    found = []
    for name in names:
        key = folded(name)
        if key in first:
            found.append((first[key], name))
        else:
            first[key] = name
    return found


def folded(name: str) -> str:
    """What is the same for all names that some file systems hold for one."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFD", name).casefold())


def _allowed(letter: str) -> str:
    kind = unicodedata.category(letter)
    hidden = kind in ("Cc", "Cf", "Cs", "Zl", "Zp") and letter not in _JOINERS
    return "_" if hidden or letter in _FORBIDDEN else letter


def _cut(name: str) -> str:
    """Shorten to the longest length between two characters; no space or dot at the end."""
    whole = name.encode("utf-8")[:LONGEST_BYTES].decode("utf-8", "ignore")
    return whole.rstrip(". \u00a0\u3000")
