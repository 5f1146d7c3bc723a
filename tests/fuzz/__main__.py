"""Feed the package what strangers could: `python tests/fuzz --target scene --minutes 60`.

Each case is a result, an error in words, or a finding. A finding is made small, kept under
tests/fuzz/seeds/ and from then on replayed by the tests. The exit code is 1 where there is one.
"""

from __future__ import annotations

import argparse
import sys
from math import inf
from pathlib import Path
from time import monotonic

sys.path[0] = str(Path(__file__).parents[1])  # as `python tests/fuzz` it is this folder itself

from fuzz.hunt import HUNG, SEEDS, Hunt, guided, hunted, kept, shapes  # noqa: E402
from fuzz.targets import TARGETS, known  # noqa: E402


def main() -> int:
    """Parse, hunt, tell."""
    given = _arguments()
    chosen = given.target or TARGETS
    if given.shapes:
        for target in chosen:
            print(f"== {target}", *shapes(target, given.seed, given.shapes), sep="\n")
        return 0
    failed = False
    for target in chosen:
        until = monotonic() + 60 * given.minutes / len(chosen)
        last = given.first + given.cases if given.cases else sys.maxsize
        seeds = sorted((SEEDS / target).glob("*")) if given.replay else []
        if given.guided:
            hunt = guided(target, round(until - monotonic()))
        else:
            hunt = hunted(target, given.seed, (given.first, last), until, seeds, given.patience)
        _tell(hunt)
        if hunt.found and not given.dry:
            print("  kept:", *kept(hunt), sep="\n    ", flush=True)
        failed |= bool(hunt.found) or not (hunt.cases or seeds)
    return int(failed)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python tests/fuzz", description=__doc__)
    parser.add_argument("--target", action="append", type=known, help="all if not given")
    parser.add_argument("--minutes", type=float, default=inf, help="shared by the targets")
    parser.add_argument("--cases", type=int, default=0, help="of each target; 0 for no end")
    parser.add_argument("--seed", type=int, default=1, help="other seed, other cases")
    parser.add_argument("--first", type=int, default=0, help="number of the first case")
    parser.add_argument("--patience", type=float, default=HUNG, help="seconds without a sign")
    parser.add_argument("--dry", action="store_true", help="keep nothing")
    parser.add_argument("--replay", action="store_true", help="run the kept cases first")
    parser.add_argument("--guided", action="store_true", help="follow lines reached, by Atheris")
    parser.add_argument("--shapes", type=int, default=0, help="list the messages of so many cases")
    given = parser.parse_args()
    if given.minutes == inf and not given.cases and not given.shapes:
        parser.error("found neither --minutes nor --cases, wanted one of them")
    if given.guided and given.minutes == inf:
        parser.error("found --guided without --minutes, wanted both")
    return given


def _tell(hunt: Hunt) -> None:
    rate = hunt.cases / max(hunt.seconds, 1e-9)
    counts = f"{hunt.replayed} kept cases, {hunt.cases} cases ({hunt.taken} taken), {rate:.0f}/s"
    print(f"{hunt.target}: {counts}, {len(hunt.found)} findings", flush=True)
    for signature, finding in hunt.found.items():
        print(f"  {hunt.counts[signature]} x {signature} (first: case {finding['number']})")
        print("    " + finding["detail"].strip().replace("\n", "\n    "))


if __name__ == "__main__":
    sys.exit(main())
