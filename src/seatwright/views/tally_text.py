"""A tally as text for people and as JSON for programs."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from seatwright.errors import printable
from seatwright.listening.preferences import Pair
from seatwright.listening.remarks import Moment
from seatwright.listening.tallying import Preferences, Tally
from seatwright.views.tally_words import labels, one_line, verdict
from seatwright.views.text_table import text_table

TALLY_FORMAT = 1
_LONGEST_REMARK = 500
_MOST_LISTENERS = 40


def tally_text(tally: Tally) -> str:
    """The whole tally: verdict, tables, remarks, refused ballots."""
    named = labels(tally)
    title = one_line(tally.trial.title) or f"trial {tally.trial.id}"
    ways = ", ".join(f"{count} {word}" for word, count in tally.playback.items())
    levels = ", ".join(f"{count} {word}" for word, count in tally.levels.items())
    head = f"{tally.listeners} counted ({ways}; levels {levels}), {len(tally.refused)} refused"
    parts = [f"{title}: {head}", "\n".join(f"- {sentence}" for sentence in verdict(tally))]
    if tally.preferences is not None:
        parts += [strengths_table(tally.preferences, named), pairs_table(tally.preferences, named)]
    parts += [*_identification(tally), *_remarks(tally, named), *_refused(tally)]
    return "\n\n".join(parts) + "\n"


def strengths_table(found: Preferences, named: dict[str, str]) -> str:
    """Versions, the strongest first; strengths with 95 % intervals."""
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
    return text_table(["version", "put first", "strength", "from", "to"], rows)


def pairs_table(found: Preferences, named: dict[str, str]) -> str:
    """Every pair with its exact test."""
    rows = [[f"{named[p.first]} over {named[p.second]}", *_figures(p)] for p in found.pairs]
    return text_table(["preferred", "for", "against", "ties", "p", "p corrected"], rows)


def _figures(pair: Pair) -> list[str]:
    counts = [str(pair.for_first), str(pair.for_second), str(pair.ties)]
    return [*counts, f"{pair.p:.4f}", f"{pair.p_corrected:.4f}"]


def _identification(tally: Tally) -> Iterator[str]:
    if tally.identification is None:
        return
    rows = [
        [listener[:8], str(score.right), str(score.trials), str(score.needed or "-"),
         f"{score.p:.4f}", f"{score.p_corrected:.4f}"]
        for listener, score in tally.identification.listeners[:_MOST_LISTENERS]
    ]  # fmt: skip
    left = len(tally.identification.listeners) - len(rows)
    more = f"\nand {left} more, which --json lists" if left else ""
    yield text_table(["listener", "right", "of", "needed", "p", "p corrected"], rows) + more


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
        "preferences": _preferences(tally.preferences),
        "identification": asdict(tally.identification) if tally.identification else None,
        "twins": [asdict(twin) | {"mean_distance": twin.mean_distance} for twin in tally.twins],
        "remarks": [asdict(seat) for seat in tally.remarks],
        "refused": [asdict(one) for one in tally.refused],
    }
    return json.dumps(whole, indent=2) + "\n"


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
