"""A tally as one page in the house's style: nothing in it runs, every name is inert."""

from __future__ import annotations

from collections.abc import Iterator

from seatwright.errors import printable
from seatwright.listening.tallying import Tally, Votes
from seatwright.views.html_page import (
    escaped,
    html_figure,
    html_page,
    html_section,
    html_table,
    paragraph,
)
from seatwright.views.tally_plots import preference_matrix, strengths_plot
from seatwright.views.tally_text import (
    counted_words,
    identification_table,
    moment_words,
    pairs_table,
    seat_words,
    strengths_table,
)
from seatwright.views.tally_words import labels, one_line, verdict, votes_verdict


def tally_page(tally: Tally) -> str:
    """The tally as HTML.

    Returns
    -------
    str
        A whole document that opens from disk; scripts and loading are forbidden by its policy.
    """
    title = one_line(tally.trial.title) or f"trial {tally.trial.id}"
    head = f"<header><h1>{escaped(title)}</h1><p>{escaped(counted_words(tally))}</p></header>"
    body = [
        head,
        html_section("What was said", [_list(verdict(tally)), *_votes(tally.matched, tally)]),
    ]
    if tally.rendered.listeners:
        parts = [_list(votes_verdict(tally.rendered, tally)), *_votes(tally.rendered, tally)]
        body.append(html_section("With levels as rendered, counted apart", parts))
    if tally.remarks:
        body.append(html_section("Remarks", _remarks(tally)))
    if tally.refused:
        lines = [f"{printable(one.source)}: {printable(one.why)}" for one in tally.refused]
        body.append(html_section("Refused", [_list(lines)]))
    return html_page(title, body)


def _list(sentences: list[str]) -> str:
    return f'<ul class="notes">{"".join(f"<li>{escaped(one)}</li>" for one in sentences)}</ul>'


def _votes(votes: Votes, tally: Tally) -> Iterator[str]:
    """Plots and tables of what was said in answer to one question."""
    named = labels(tally)
    found = votes.preferences
    if found is not None:
        about = (
            "The further right, the more it is preferred; intervals hold the truth 19 times in 20."
        )
        yield html_figure(about, [strengths_plot(found, named)])
        yield html_table("Strengths", *strengths_table(found, named))
        about = "How many put the row before the column; underlined where it is beyond chance."
        yield html_figure(about, [preference_matrix(found, named)])
        yield html_table("Pairs", *pairs_table(found, named))
    if votes.identification is not None:
        heads, rows = identification_table(votes.identification)
        yield html_table("Which is X? Scores of listeners", heads, rows)


def _remarks(tally: Tally) -> Iterator[str]:
    named = labels(tally)
    for seat in tally.remarks:
        yield f"<h3>{escaped(seat_words(seat))}</h3>"
        for moment in seat.moments:
            lines = [
                f"{named[comment.version]}: {printable(' '.join(comment.text.split()))}"
                for comment in moment.comments
            ]
            yield paragraph(moment_words(moment, tally.trial.start)) + _list(lines)
