"""What the listeners said, in plain words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from seatwright.errors import printable
from seatwright.listening.binomial import LEVEL, needed_trials
from seatwright.listening.identification import Identification
from seatwright.listening.preferences import Pair
from seatwright.listening.tallying import Preferences, Tally, Votes

_LONGEST_NAME = 60


def labels(tally: Tally) -> dict[str, str]:
    """What versions are called: their names, with the id where names are alike."""
    names = {version.id: one_line(version.name) for version in tally.trial.versions}
    often = Counter(names.values())
    return {
        id: name if often[name] == 1 and name else f"{name} ({id})".strip()
        for id, name in names.items()
    }


def one_line(text: str, longest: int = _LONGEST_NAME) -> str:
    """A text on one line, harmless on a terminal, cut where it is too long."""
    line = printable(" ".join(text.split()))
    return line if len(line) <= longest else line[: longest - 3] + "..."


def p_words(p: float) -> str:
    """A p value; small ones as a bound."""
    return "p < 0.001" if p < 0.001 else f"p = {p:.3f}"


def verdict(tally: Tally) -> list[str]:
    """Sentences on versions heard equally loud: preferences, who wins, what could be told apart;
    then consistency and cautions."""
    sentences = votes_verdict(tally.matched, tally)
    if tally.rendered.listeners:
        sentences.append(_apart(tally))
    sentences += _twins(tally, labels(tally))
    return sentences + list(_cautions(tally))


def votes_verdict(votes: Votes, tally: Tally) -> list[str]:
    """Sentences on what was said in answer to one question."""
    named = labels(tally)
    sentences: list[str] = []
    if votes.preferences is not None:
        sentences += _preference(votes.preferences, named)
        sentences += _winner(votes.preferences, named)
    if votes.identification is not None:
        sentences += _identification(votes.identification)
    if votes.preferences is not None and votes.preferences.strengths.added:
        sentences.append("some versions win or lose every comparison, so that outwards their "
                         "strengths have no bound: the table adds half a win to both sides of "
                         "every pair.")  # fmt: skip
    return sentences


def _apart(tally: Tally) -> str:
    count = tally.rendered.listeners
    who = f"{count} of {tally.listeners}" if count < tally.listeners else f"all {count}"
    return (f"{who} listened with levels as rendered, where what is louder has an advantage: that "
            "is another question, so they are counted apart.")  # fmt: skip


def _preference(found: Preferences, named: dict[str, str]) -> list[str]:
    clear = [pair for pair in found.pairs if pair.is_clear]
    if clear:
        return [_clear(pair, named, len(found.pairs)) for pair in clear]
    heard = f"no clear preference with {_count(found.listeners, 'listener')}"
    decided = min(pair.for_first + pair.for_second for pair in found.pairs)
    among = f" between any two of {len(found.versions)} versions" if len(found.pairs) > 1 else ""
    if decided >= found.needed:
        return [f"{heard}: 75:25{among} would probably have been seen ({found.needed} are enough)."]
    if found.listeners >= found.needed:
        ties = f"so many tied that a pair is decided by only {decided}"
        return [f"{heard}; {ties}, and {found.needed} would be needed to see 75:25{among}."]
    return [f"{heard}; {found.needed} would be needed to see 75:25{among}."]


def _clear(pair: Pair, named: dict[str, str], pairs: int) -> str:
    decided = pair.for_first + pair.for_second
    ties = f", {_count(pair.ties, 'tie')} left out" if pair.ties else ""
    corrected = f", corrected for {pairs} pairs" if pairs > 1 else ""
    said = f"{named[pair.first]} is preferred to {named[pair.second]} by {pair.for_first} of"
    return f"{said} {decided} ({p_words(pair.p_corrected)}{corrected}{ties})."


def _winner(found: Preferences, named: dict[str, str]) -> list[str]:
    result = found.majority
    if result.winner is not None:
        clear = {pair.second for pair in found.pairs if pair.is_clear and
                 pair.first == result.winner}  # fmt: skip
        sure = "" if len(clear) == len(found.versions) - 1 else "; not all of it is beyond chance"
        sure = sure if clear else "; that may be chance"
        return [f"a majority prefers {named[result.winner]} to every other version{sure}."]
    if result.cycle:
        round_trip = " > ".join(named[version] for version in (*result.cycle, result.cycle[0]))
        return [f"no version is preferred to every other: majorities go round, {round_trip}."]
    leaders = ", ".join(named[version] for version in result.leaders)
    return [f"no version is preferred to every other: drawn between {leaders}."]


def _identification(found: Identification) -> list[str]:
    score = found.pooled
    heard = f"{score.right} of {score.trials} identifications are right ({p_words(score.p)}, "
    heard += f"{score.trials / 2:g} by guessing)"
    if score.needed is None:
        return [f"{heard}: so few can never tell; 5 or more are needed."]
    enough = needed_trials(sides=1)
    if score.is_heard:
        sentences = [f"{heard}: the two versions can be told apart."]
    else:
        sentences = [f"{heard}: not shown to be told apart; {score.needed} would have been enough."]
        if score.trials < enough:
            able = "somebody who is right three times in four would be seen for sure enough"
            sentences.append(f"{able} in {enough} trials; in {score.trials} the odds of it are "
                             f"{100 * score.power:.0f} %.")  # fmt: skip
    passed = sum(one.is_heard for _, one in found.listeners)
    if len(found.listeners) > 1:
        sentences.append(f"{passed} of {len(found.listeners)} listeners tell them apart on their "
                         "own, corrected for so many tries.")  # fmt: skip
    return sentences


def _twins(tally: Tally, named: dict[str, str]) -> Iterator[str]:
    for twin in tally.twins:
        put = f"{twin.together} of {len(twin.distances)} put {named[twin.original]} and its hidden "
        put += f"twin side by side ({100 * twin.chance_together:.0f} % would by chance, "
        said = "consistent beyond chance" if twin.p <= LEVEL else "that may be chance"
        yield f"{put}{p_words(twin.p)}): {said}."


def _cautions(tally: Tally) -> Iterator[str]:
    if tally.trial.assumed:
        yield ("without the trial's manifest (--trial) names, hidden twins, seats and what was "
               "asked are unknown and not checked.")  # fmt: skip


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"
