"""Cases that follow the lines they reach: `python tests/fuzz --guided --target scene --minutes 5`.

Needs Atheris, which is on no list of dependencies: `pip install atheris`. What it finds is told and
kept as elsewhere; its cases depend on what came before, so that none has a number.
"""

from __future__ import annotations

import base64
import sys
from collections.abc import Callable
from pathlib import Path
from random import Random

SEEDED = 300
_LONGEST = 6000


def main(name: str, seconds: int, scratch: Path, say: Callable[..., None]) -> None:
    """Run one target for some seconds in this process, which ends with it."""
    import atheris

    with atheris.instrument_imports(include=["seatwright", "tomllib"]):
        from fuzz.targets import target_of

        target = target_of(name, scratch)
    from fuzz.chance import damaged
    from fuzz.child import case
    from fuzz.judge import judged

    corpus, seen, done = scratch / "corpus", set(), 0
    corpus.mkdir()
    for number in range(SEEDED):
        (corpus / str(number)).write_bytes(case(target, 1, number)[:_LONGEST])

    def one(data: bytes) -> None:
        nonlocal done
        done += 1
        verdict = judged(target, data)
        say(taken=int(verdict.taken), cases=1)
        if (found := verdict.finding) and found.signature not in seen:
            seen.add(found.signature)
            say(
                number=done,
                signature=found.signature,
                detail=found.detail,
                data=base64.b64encode(data).decode(),
            )

    def mutated(data: bytes, most: int, seed: int) -> bytes:
        chance = Random(seed)
        kind = chance.random()
        if kind < 0.5:
            return bytes(atheris.Mutate(data, most))
        return (target.make(chance) if kind < 0.7 else damaged(bytes(data), chance))[:most]

    options = [f"-max_total_time={seconds}", f"-max_len={_LONGEST}", "-verbosity=0"]
    atheris.Setup([sys.argv[0], str(corpus), *options], one, custom_mutator=mutated)
    atheris.Fuzz()
