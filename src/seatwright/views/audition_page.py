"""The audition page: one HTML file that holds audio, script and style, and asks no network.

Everything that comes from a scene stands in a block of JSON whose "<" are escaped; the script
puts it on the page as text only. The policy allows the page's own script and styles by their
hashes, and no connection at all.
"""

from __future__ import annotations

import hashlib
import json
import re
from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from html import escape
from importlib.resources import files
from typing import Any

from seatwright.errors import printable
from seatwright.listening.comparison import SWITCH_SECONDS
from seatwright.views.difference_table import HEADS, Difference

SCRIPTS = (
    "engine.js", "ballot.js", "trial.js", "parts.js", "player.js", "identify.js", "comments.js",
    "reveal.js", "audition.js",
)  # fmt: skip
"""In the order they run."""


@dataclass(frozen=True)
class PageVersion:
    """A version's audio.

    Parameters
    ----------
    data : bytes
        A file that browsers decode.
    rendered_db : float
        Gain that brings back the level it was rendered at, at most 0.
    """

    data: bytes
    rendered_db: float


@dataclass(frozen=True)
class Audition:
    """What a page holds.

    Parameters
    ----------
    manifest : mapping
        The trial; its versions with `twin_of` have no audio of their own.
    codec : str
        What a browser must decode, for people.
    rate : int
        Samples per second of all versions.
    versions : sequence of PageVersion
    waveform : sequence of int
        One outline for all, 0 to 100.
    differences : sequence of Difference
    plan : str
        SVG of the stage, "" where there is none.
    sections : mapping of str to sequence of bytes
        Section bounces, a file a version.
    audio_note : str
        What the audio is and why, for people.
    """

    manifest: Mapping[str, Any]
    codec: str
    rate: int
    versions: Sequence[PageVersion]
    waveform: Sequence[int]
    differences: Sequence[Difference]
    plan: str
    sections: Mapping[str, Sequence[bytes]] = field(default_factory=dict)
    audio_note: str = ""


def audition_page(audition: Audition) -> str:
    """Assemble the page.

    Parameters
    ----------
    audition : Audition

    Returns
    -------
    str
        A whole HTML document.
    """
    script = "\n".join(_part(name) for name in SCRIPTS)
    style = _part("audition.css")
    plan = _inline(audition.plan)
    styles = [style, *re.findall(r"<style>(.*?)</style>", plan, flags=re.S)]
    title = printable(str(audition.manifest["title"]))[:90] or "Listening comparison"
    filled = {
        "POLICY": escape(policy(script, styles)),
        "TITLE": escape(title),
        "STYLE": style,
        "PLAN": plan,
        "DATA": inert_json(_facts(audition)),
        "AUDIO": "\n".join(_audio(audition)),
        "SCRIPT": script,
    }
    return re.sub(r"\{\{([A-Z]+)\}\}", lambda found: filled[found[1]], _part("page.html"))


def policy(script: str, styles: Sequence[str]) -> str:
    """The content policy of a page: its own script and styles by hash, no connection."""
    allowed = " ".join(dict.fromkeys(map(_source, styles)))
    return (
        f"default-src 'none'; script-src {_source(script)}; style-src {allowed}; "
        "img-src data:; media-src data: blob:; connect-src 'none'; base-uri 'none'; "
        "form-action 'none'"
    )


def inert_json(facts: Mapping[str, Any]) -> str:
    """JSON that no parser of HTML takes for markup."""
    text = json.dumps(facts, ensure_ascii=True, allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _source(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"'sha256-{b64encode(digest).decode()}'"


@lru_cache(maxsize=8)
def _part(name: str) -> str:
    text = (files("seatwright.views") / "audition" / name).read_text(encoding="utf-8")
    return text.replace("\r\n", "\n")


def _inline(plan: str) -> str:
    """A drawing without what only a document of its own has."""
    return plan[plan.index("<svg") :] if "<svg" in plan else ""


def _facts(audition: Audition) -> dict[str, Any]:
    gains = [version.rendered_db for version in audition.versions]
    return {
        "trial": dict(audition.manifest),
        "codec": audition.codec,
        "audio_note": audition.audio_note,
        "rate": audition.rate,
        "fade": SWITCH_SECONDS,
        "rendered": gains,
        "waveform": list(audition.waveform),
        "sections": list(audition.sections),
        "heads": list(HEADS),
        "differences": [
            {"heading": each.heading, "note": each.note, "rows": each.rows()}
            for each in audition.differences
        ],
        "plan_names": {printable(name): name for name in audition.manifest["seats"]},
    }


def _audio(audition: Audition) -> list[str]:
    own = [version for version in audition.manifest["versions"] if version["twin_of"] is None]
    ids = [str(row["id"]) for row in own]
    blocks = [_block(name, one.data) for name, one in zip(ids, audition.versions, strict=True)]
    for number, files_of in enumerate(audition.sections.values()):
        blocks += [_block(f"{i}-{number}", data) for i, data in zip(ids, files_of, strict=True)]
    return blocks


def _block(name: str, data: bytes) -> str:
    """Audio where the script finds it."""
    encoded = b64encode(data).decode()
    return f'<script type="text/plain" id="audio-{name}">{encoded}</script>'
