"""A tally as text for people and as JSON for programs."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from seatwright.errors import printable
from seatwright.listening.identification import Identification
from seatwright.listening.preferences import Pair
from seatwright.listening.remarks import Moment
from seatwright.listening.tallying import Preferences, Tally, Votes
from seatwright.views.tally_words import labels, one_line, verdict, votes_verdict
from seatwright.views.text_table import text_table

TALLY_FORMAT = 1
_LONGEST_REMARK = 500
_MOST_LISTENERS = 40

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
        table = text_table(*identification_table(votes.identification))
        texts.append("\n".join(filter(None, [table, left_out(votes.identification)])))
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
    return ["version", "put first", "strength", "from", "to"], rows


def pairs_table(found: Preferences, named: dict[str, str]) -> tuple[list[str], Rows]:
    """Heads and rows of every pair with its exact test."""
    rows = [[f"{named[p.first]} over {named[p.second]}", *_figures(p)] for p in found.pairs]
    return ["preferred", "for", "against", "ties", "p", "p corrected"], rows


def _figures(pair: Pair) -> list[str]:
    counts = [str(pair.for_first), str(pair.for_second), str(pair.ties)]
    return [*counts, f"{pair.p:.4f}", f"{pair.p_corrected:.4f}"]


def identification_table(found: Identification) -> tuple[list[str], Rows]:
    """Heads and rows of the best listeners' scores against guessing."""
    rows = [
        [listener[:8], str(score.right), str(score.trials), str(score.needed or "-"),
         f"{score.p:.4f}", f"{score.p_corrected:.4f}"]
        for listener, score in found.listeners[:_MOST_LISTENERS]
    ]  # fmt: skip
    return ["listener", "right", "of", "needed", "p", "p corrected"], rows


def left_out(found: Identification) -> str:
    """How many listeners the table leaves out; "" where none."""
    left = len(found.listeners) - _MOST_LISTENERS
    return f"and {left} more, which --json lists" if left > 0 else ""


def _remarks(tally: Tally, named: dict[str, str]) -> Iterator[str]:
    for seat in tally.remarks:
        lines = [one_line(seat.seat) if seat.seat is not None else "on no seat"]
        for moment in seat.moments:
            lines.append(f"  {moment_words(moment)}")
            lines += [
                f"    {named[comment.version]}: {one_line(comment.text, _LONGEST_REMARK)}"
                for comment in moment.comments
            ]
        yield "\n".join(lines)


def moment_words(moment: Moment) -> str:
    """When a moment is: minutes and seconds, or "no time"."""
    if moment.begin is None or moment.end is None:
        return "at no time"
    begin, end = _clock(moment.begin), _clock(moment.end)
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
