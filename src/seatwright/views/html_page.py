"""One HTML page that opens from disk: no script, no network, every word in it inert.

Whatever comes from a scene goes through `escaped`, which leaves neither markup nor characters that
act on a terminal or turn the reading direction; `isolated` also keeps right-to-left names to
themselves. The page is well-formed XML too.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html import escape

from seatwright.errors import printable
from seatwright.views.page_style import STYLE
from seatwright.views.plot_frame import short_name

POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'"
)
"""What the page may load: nothing but the styles and pictures that are in it."""

MINUS = "\u2212"
"""Stands before negative numbers in tables."""

_LONG = 60
_NUMBER = ' class="number"'


def escaped(text: str) -> str:
    """Text that is only text, between tags as well as within an attribute's quotes."""
    return escape(printable(text), quote=True)


def isolated(name: str) -> str:
    """A name from a scene as an element of its own, whichever way its script runs."""
    shown = escaped(name)
    return f'<bdi class="long">{shown}</bdi>' if len(shown) > _LONG else f"<bdi>{shown}</bdi>"


def html_page(title: str, body: Iterable[str]) -> str:
    """A whole document.

    Parameters
    ----------
    title : str
        Of the window.
    body : iterable of str
        HTML, already escaped.

    Returns
    -------
    str
    """
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8"/>\n'
        f'<meta http-equiv="Content-Security-Policy" content="{escaped(POLICY)}"/>\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1"/>\n'
        '<meta name="color-scheme" content="light dark"/>\n'
        '<meta name="referrer" content="no-referrer"/>\n'
        f"<title>{escaped(short_name(title, 90))}</title>\n<style>{STYLE}</style>\n</head>\n"
        "<body>\n" + "\n".join(body) + "\n</body>\n</html>\n"
    )


def html_section(title: str, parts: Iterable[str]) -> str:
    """A part of the page under its heading."""
    return f"<section>\n<h2>{escaped(title)}</h2>\n" + "\n".join(parts) + "\n</section>"


def html_table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table; its first column names the rows.

    Parameters
    ----------
    caption : str
    heads : sequence of str
    rows : iterable of sequence of str
        As many cells each as there are heads; plain text. Columns of numbers stand to the right.

    Returns
    -------
    str
        In a frame that scrolls where the page is too narrow.
    """
    table = list(rows)
    numeric = [all(map(_is_number, column)) for column in zip(*table, strict=True)]
    numeric = numeric or [False] * len(heads)
    head = "".join(
        f'<th scope="col"{_NUMBER if right else ""}>{escaped(text)}</th>'
        for text, right in zip(heads, numeric, strict=True)
    )
    body = "\n".join(_row(row, numeric) for row in table)
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{escaped(caption)}">'
        f"<table>\n<caption>{escaped(caption)}</caption>\n<thead><tr>{head}</tr></thead>\n"
        f"<tbody>\n{body}\n</tbody>\n</table></div>"
    )


def _is_number(text: str) -> bool:
    return text == "-" or re.fullmatch(r"[+-]?\d+(\.\d+)?", text) is not None


def _row(cells: Sequence[str], numeric: Sequence[bool]) -> str:
    rest = "".join(map(_cell, cells[1:], numeric[1:]))
    return f'<tr><th scope="row">{isolated(cells[0])}</th>{rest}</tr>'


def _cell(text: str, number: bool) -> str:
    if not number:
        return f"<td>{isolated(text)}</td>"
    negative = text.startswith("-") and text != "-"
    return f"<td{_NUMBER}>{text.replace('-', MINUS) if negative else text}</td>"


def html_figure(caption: str, drawings: Sequence[str], kind: str = "") -> str:
    """Drawings with their caption; `kind` "many" sets them side by side."""
    inner = "\n".join(drawings)
    if kind != "many":
        inner = f'<div class="scroll" tabindex="0" role="region" aria-label="Drawing">{inner}</div>'
    below = f"<figcaption>{escaped(caption)}</figcaption>"
    return f'<figure class="{kind or "one"}">\n{inner}\n{below}</figure>'


def html_details(summary: str, parts: Iterable[str]) -> str:
    """What opens on request."""
    inner = "\n".join(parts)
    return f"<details><summary>{escaped(summary)}</summary>\n{inner}\n</details>"


def paragraph(text: str, kind: str = "") -> str:
    """A paragraph of plain text."""
    return f'<p class="{kind}">{escaped(text)}</p>' if kind else f"<p>{escaped(text)}</p>"
