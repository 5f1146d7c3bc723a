"""A child process that runs cases: limited in memory, watched from outside.

`python -m fuzz.child PLAN` where PLAN is a file of JSON: what to run and where to say so.
"""

from __future__ import annotations

import base64
import json
import mmap
import resource
import struct
import sys
import warnings
from pathlib import Path
from random import Random
from typing import Any

from fuzz import guided
from fuzz.hunt import SEEDS_FROM
from fuzz.judge import Finding, Target, judged, shape_of
from fuzz.shrink import shrunk
from fuzz.targets import target_of
from seatwright.errors import Fault, SeatwrightError

_ROOM = 2**30
"""Bytes of address space a case may take beyond what is loaded."""

_GROWTH = 200 * 2**20
"""Bytes the child may grow by from its five-hundredth case on."""

_WARM = 500
_LOOKED = 1000
_LEAKED = 20


def case(target: Target, seed: int, number: int) -> bytes:
    """A case by its number: parent and child make the same."""
    return target.make(Random(f"{target.name}/{seed}/{number}"))


def main() -> None:
    """Do what the plan says; findings are lines of JSON on standard output."""
    plan = json.loads(Path(sys.argv[1]).read_bytes())
    warnings.simplefilter("error")
    if "guided" in plan:
        guided.main(plan["target"], plan["guided"], Path(plan["scratch"]), _say)
        return
    target = target_of(plan["target"], Path(plan["scratch"]))
    _limit_memory()
    if "shrink" in plan:
        data = base64.b64decode(plan["shrink"])
        _say(shrunk=base64.b64encode(shrunk(target, data, plan["seconds"])).decode())
    elif "make" in plan:
        made = case(target, plan["seed"], plan["make"])
        _say(made=base64.b64encode(made).decode())
    elif "shapes" in plan:
        _list_shapes(target, plan)
    else:
        _run(target, plan)


def _run(target: Target, plan: dict[str, Any]) -> None:
    warm, files, taken = 0, _open_files(), 0
    with Path(plan["progress"]).open("r+b") as file, mmap.mmap(file.fileno(), 8) as progress:
        for number, path in enumerate(plan.get("replay", ())):
            progress[:] = struct.pack("<Q", SEEDS_FROM + number)
            data = Path(path).read_bytes()
            if found := judged(target, data).finding:
                _tell(SEEDS_FROM + number, found, data)
        for number in range(plan["first"], plan["last"]):
            progress[:] = struct.pack("<Q", number)
            data = case(target, plan["seed"], number)
            verdict = judged(target, data)
            taken += verdict.taken
            if verdict.finding:
                _tell(number, verdict.finding, data)
            done = number - plan["first"]
            if done == _WARM:
                warm = _resident()
            if done % _LOOKED == 0:
                _say(taken=taken)
                taken = 0
            if done % _LOOKED == 0 and _open_files() > files + _LEAKED:
                _tell(number, Finding("open files leak", f"{files} to {_open_files()}"), data)
                files = _open_files()
        progress[:] = struct.pack("<Q", plan["last"])
    _say(taken=taken)
    if warm and _resident() > warm + _GROWTH:
        grown = f"{warm >> 20} MiB to {_resident() >> 20} MiB in {plan['last'] - plan['first']}"
        _tell(plan["last"], Finding("memory grows", grown), b"")


def _list_shapes(target: Target, plan: dict[str, Any]) -> None:
    """Every kind of message once, for a person to read."""
    shapes: dict[str, str] = {}
    for number in range(plan["shapes"]):
        try:
            told = list(target.run(case(target, plan["seed"], number)))
        except SeatwrightError as error:
            told = list(error.faults)
        except Exception:
            continue
        for one in told:
            if isinstance(one, Fault):
                shapes.setdefault(shape_of(one), f"{one.what} ({one.hint})")
    for text in sorted(shapes.values()):
        _say(shape=text)


def _tell(number: int, found: Finding, data: bytes) -> None:
    _say(
        number=number,
        signature=found.signature,
        detail=found.detail,
        data=base64.b64encode(data).decode(),
    )


def _say(**what: Any) -> None:
    print(json.dumps(what), flush=True)


def _limit_memory() -> None:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    most = pages * resource.getpagesize() + _ROOM
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _resident() -> int:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * resource.getpagesize()


def _open_files() -> int:
    return sum(1 for _ in Path("/proc/self/fd").iterdir())


if __name__ == "__main__":
    main()
