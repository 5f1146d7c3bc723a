"""A tally as one page: nothing in it runs, nothing is loaded, every name is inert."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from seatwright.errors import printable
from seatwright.listening.tallying import Tally
from seatwright.views.tally_plots import preference_matrix, strengths_plot
from seatwright.views.tally_text import moment_words, pairs_table, strengths_table
from seatwright.views.tally_words import labels, one_line, verdict

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_STYLE = (
    "body{max-width:50rem;margin:2rem auto;padding:0 1rem;background:#fffdf8;color:#1b1b1b;"
    "font:1rem/1.5 Georgia,serif;overflow-wrap:anywhere}svg{width:100%;height:auto}"
    "pre{overflow-x:auto;font-size:.85rem}"
)


def tally_page(tally: Tally) -> str:
    """The tally as HTML.

    Returns
    -------
    str
        A whole document that opens from disk; scripts and loading are forbidden by its policy.
    """
    title = escape(one_line(tally.trial.title) or f"trial {tally.trial.id}")
    counted = f"{tally.listeners} counted, {len(tally.refused)} refused"
    body = [f"<h1>{title}</h1><p>{counted}</p>", _list(verdict(tally)), *_plots(tally)]
    body += [*_remarks(tally), *_refused(tally)]
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>{_STYLE}</style></head>\n<body>\n"
        + "\n".join(body)
        + "\n</body></html>\n"
    )


def _list(sentences: list[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(one)}</li>" for one in sentences) + "</ul>"


def _plots(tally: Tally) -> Iterator[str]:
    found = tally.preferences
    if found is None:
        return
    named = labels(tally)
    yield f"<h2>Strengths</h2>{strengths_plot(found, named)}"
    yield f"<pre>{escape(strengths_table(found, named))}</pre>"
    yield f"<h2>Pairs</h2>{preference_matrix(found, named)}"
    yield f"<pre>{escape(pairs_table(found, named))}</pre>"


def _remarks(tally: Tally) -> Iterator[str]:
    named = labels(tally)
    if tally.remarks:
        yield "<h2>Remarks</h2>"
    for seat in tally.remarks:
        yield f"<h3>{escape(one_line(seat.seat) if seat.seat is not None else 'on no seat')}</h3>"
        for moment in seat.moments:
            lines = [
                f"{named[comment.version]}: {printable(' '.join(comment.text.split()))}"
                for comment in moment.comments
            ]
            yield f"<p>{moment_words(moment)}</p>{_list(lines)}"


def _refused(tally: Tally) -> Iterator[str]:
    if tally.refused:
        yield "<h2>Refused</h2>"
        yield _list([f"{printable(one.source)}: {printable(one.why)}" for one in tally.refused])
