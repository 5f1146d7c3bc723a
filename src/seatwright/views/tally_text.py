"""A tally as text for people and as JSON for programs."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from seatwright.errors import printable
from seatwright.listening.identification import Identification
from seatwright.listening.preferences import Pair
from seatwright.listening.remarks import Moment, SeatRemarks
from seatwright.listening.tallying import Preferences, Tally, Votes
from seatwright.views.tally_words import labels, one_line, verdict, votes_verdict
from seatwright.views.text_table import text_table

TALLY_FORMAT = 1
_LONGEST_REMARK = 500

_WAYS = {
    "headphones": "over headphones",
    "loudspeakers": "over loudspeakers",
    "unknown": "who did not say how they listened",
}

Rows = list[list[str]]


def tally_text(tally: Tally) -> str:
    """The whole tally: verdict, tables, remarks, refused ballots."""
    named = labels(tally)
    title = one_line(tally.trial.title) or f"trial {tally.trial.id}"
    parts = [
        f"{title}: {counted_words(tally)}",
        "\n".join(f"- {sentence}" for sentence in verdict(tally)),
    ]
    parts += _tables(tally.matched, named)
    if tally.rendered.listeners:
        parts.append(f"With levels as rendered ({tally.rendered.listeners}):")
        parts.append("\n".join(f"- {one}" for one in votes_verdict(tally.rendered, tally)))
        parts += _tables(tally.rendered, named)
    parts += [*_remarks(tally, named), *_refused(tally)]
    return "\n\n".join(parts) + "\n"


def counted_words(tally: Tally) -> str:
    """How many ballots count, and how these listeners listened."""
    ways = ", ".join(f"{count} {_WAYS[way]}" for way, count in tally.playback.items())
    counted = f"{tally.listeners} ballot{'s' if tally.listeners > 1 else ''}"
    refused = f", {len(tally.refused)} refused" if tally.refused else ""
    return f"{counted} counted ({ways}){refused}"


def _tables(votes: Votes, named: dict[str, str]) -> list[str]:
    found = votes.preferences
    tables = [] if found is None else [strengths_table(found, named), pairs_table(found, named)]
    texts = [text_table(*table) for table in tables]
    if votes.identification is not None:
        texts.append(text_table(*identification_table(votes.identification)))
    return texts


def strengths_table(found: Preferences, named: dict[str, str]) -> tuple[list[str], Rows]:
    """Heads and rows of versions, the strongest first; strengths with 95 % intervals."""
    fit = found.strengths
    order = sorted(range(len(found.versions)), key=lambda place: -fit.values[place])
    rows = [
        [
            named[found.versions[place]],
            str(found.first_places[place]),
            f"{fit.values[place]:+.2f}",
            f"{fit.low[place]:+.2f}",
            f"{fit.high[place]:+.2f}",
        ]
        for place in order
    ]
    return ["version", "put first", "strength", "95 % from", "to"], rows


def pairs_table(found: Preferences, named: dict[str, str]) -> tuple[list[str], Rows]:
    """Heads and rows of every pair with its exact test."""
    rows = [[f"{named[p.first]} over {named[p.second]}", *_figures(p)] for p in found.pairs]
    return ["preferred", "for", "against", "ties", "p", "p corrected"], rows


def _figures(pair: Pair) -> list[str]:
    counts = [str(pair.for_first), str(pair.for_second), str(pair.ties)]
    return [*counts, p_cell(pair.p), p_cell(pair.p_corrected)]


def identification_table(found: Identification) -> tuple[list[str], Rows]:
    """Heads and rows of listeners' scores against guessing, the best first, equal ones together."""
    alike = Counter(score for _, score in found.listeners)
    order = sorted(alike, key=lambda score: (score.p, -score.right))
    rows = [
        [
            f"{score.right} of {score.trials}",
            str(alike[score]),
            str(score.needed or "-"),
            p_cell(score.p),
            p_cell(score.p_corrected),
        ]
        for score in order
    ]
    return ["right", "listeners", "right needed", "p", "p corrected"], rows


def p_cell(p: float) -> str:
    """A p value in a table."""
    return "<0.0001" if p < 0.00005 else f"{p:.4f}"


def _remarks(tally: Tally, named: dict[str, str]) -> Iterator[str]:
    for seat in tally.remarks:
        lines = [seat_words(seat)]
        for moment in seat.moments:
            lines.append(f"  {moment_words(moment, tally.trial.start)}")
            lines += [
                f"    {named[comment.version]}: {one_line(comment.text, _LONGEST_REMARK)}"
                for comment in moment.comments
            ]
        yield "\n".join(lines)


def seat_words(remarks: SeatRemarks) -> str:
    """What a group of remarks is about."""
    return "on no seat in particular" if remarks.seat is None else one_line(remarks.seat)


def moment_words(moment: Moment, start: float) -> str:
    """When a moment is: minutes and seconds into the piece, whose excerpt begins at `start`."""
    if moment.begin is None or moment.end is None:
        return "at no moment in particular"
    begin, end = _clock(start + moment.begin), _clock(start + moment.end)
    return begin if begin == end else f"{begin} to {end}"


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def _refused(tally: Tally) -> Iterator[str]:
    if tally.refused:
        lines = [f"  {printable(one.source)}: {printable(one.why)}" for one in tally.refused]
        yield "\n".join(["refused:", *lines])


def tally_json(tally: Tally) -> str:
    """The whole tally as JSON: ids and names of versions, figures, sentences."""
    whole = {
        "seatwright_tally": TALLY_FORMAT,
        "trial": tally.trial.id,
        "title": tally.trial.title,
        "start": tally.trial.start,
        "versions": {version.id: version.name for version in tally.trial.versions},
        "listeners": tally.listeners,
        "playback": tally.playback,
        "levels": tally.levels,
        "switches": tally.switches,
        "verdict": verdict(tally),
        **_votes(tally.matched),
        "as_rendered": _votes(tally.rendered)
        | {
            "listeners": tally.rendered.listeners,
            "verdict": votes_verdict(tally.rendered, tally),
        },
        "twins": [asdict(twin) | {"mean_distance": twin.mean_distance} for twin in tally.twins],
        "remarks": [asdict(seat) for seat in tally.remarks],
        "refused": [asdict(one) for one in tally.refused],
    }
    return json.dumps(whole, indent=2) + "\n"


def _votes(votes: Votes) -> dict[str, Any]:
    """One question's answers."""
    score = votes.identification
    return {
        "preferences": _preferences(votes.preferences),
        "identification": asdict(score) if score else None,
    }


def _preferences(found: Preferences | None) -> dict[str, Any] | None:
    if found is None:
        return None
    fit = found.strengths
    return {
        "listeners": found.listeners,
        "needed": found.needed,
        "first_places": dict(zip(found.versions, found.first_places, strict=True)),
        "pairs": [asdict(pair) for pair in found.pairs],
        "majority": asdict(found.majority),
        "half_wins_added": fit.added,
        "strengths": {
            version: {"value": float(value), "low": float(low), "high": float(high)}
            for version, value, low, high in zip(
                found.versions, fit.values, fit.low, fit.high, strict=True
            )
        },
    }
