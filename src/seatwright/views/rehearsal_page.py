"""The rehearsal page: HTML, style and scripts as they are packaged, under a strict policy.

Nothing of a scene stands in the page itself; its script asks for it where it came from.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

SCRIPTS = ("engine.js", "shapes.js", "labels.js", "plan.js", "desk.js", "rehearsal.js")
"""In the order they run."""

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)

_KINDS = {"html": "text/html", "css": "text/css", "js": "text/javascript"}


def page_parts() -> dict[str, tuple[str, bytes]]:
    """Every file of the page.

    Returns
    -------
    dict of str to (str, bytes)
        By its name, "" for the page itself: content type and content.
    """
    names = ["page.html", "rehearsal.css", *SCRIPTS]
    parts = {name: (f"{_KINDS[name.split('.')[1]]}; charset=utf-8", _part(name)) for name in names}
    parts[""] = parts.pop("page.html")
    return parts


@lru_cache(maxsize=16)
def _part(name: str) -> bytes:
    text = (files("seatwright.views") / "rehearsal" / name).read_text(encoding="utf-8")
    return text.replace("\r\n", "\n").encode()
