"""The hunt: children run cases for a while; the parent keeps what they find."""

from __future__ import annotations

import base64
import contextlib
import json
import os
import selectors
import struct
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic
from typing import IO, Any

ROOT = Path(__file__).parents[2]
SEEDS = Path(__file__).parent / "seeds"
SEEDS_FROM = 2**32
"""Numbers from here on are kept cases, which are replayed first."""

CHUNK = 20_000
"""Cases a child runs before a new one takes over."""

HUNG = 90.0
"""Seconds without a sign after which a child is ended: no signal reaches it in a library."""


@dataclass
class Hunt:
    """What was run of a target, and found: of each signature the first case.

    Cases that were taken ended in a result; all others, but for findings, in an error in words.
    """

    target: str
    cases: int = 0
    taken: int = 0
    replayed: int = 0
    seconds: float = 0.0
    found: dict[str, dict[str, Any]] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)

    def keep(self, finding: dict[str, Any]) -> None:
        """Count a finding, or what a child says it has done."""
        if "taken" in finding:
            self.taken += finding["taken"]
            self.cases += finding.get("cases", 0)
            return
        signature = finding["signature"]
        self.counts[signature] = self.counts.get(signature, 0) + 1
        self.found.setdefault(signature, finding)


DEATHS = 20
"""Children that die one after the other before it is their own fault, not their cases'."""


def hunted(
    target: str,
    seed: int,
    numbers: tuple[int, int],
    until: float,
    replay: Sequence[Path] = (),
    patience: float = HUNG,
) -> Hunt:
    """Run kept cases again, then those of these numbers, from and before, while there is time."""
    first, last = numbers
    hunt, begun, number, waiting = Hunt(target), monotonic(), first, [str(one) for one in replay]
    deaths = 0
    with scratch() as folder:
        progress = folder / "progress"
        while (number < last or waiting) and monotonic() < until:
            stop = min(last, number + CHUNK)
            progress.write_bytes(struct.pack("<Q", number))
            plan = {"target": target, "seed": seed, "first": number, "last": stop,
                    "progress": str(progress), "replay": waiting}  # fmt: skip
            ended = _watched(plan, folder, hunt, (until, patience))
            reached = struct.unpack("<Q", progress.read_bytes())[0]
            deaths = deaths + 1 if ended else 0
            if deaths > DEATHS:
                raise SystemExit(f"{target}: {deaths} children in a row, {ended}: see above")
            if ended:
                data = "" if reached >= SEEDS_FROM else made(target, seed, reached)
                hunt.keep({"signature": ended, "detail": "", "number": reached, "data": data})
            if reached >= SEEDS_FROM:  # a kept case killed the child
                hunt.replayed += reached + 1 - SEEDS_FROM
                waiting = waiting[reached + 1 - SEEDS_FROM :]
                continue
            hunt.replayed, waiting = hunt.replayed + len(waiting), []
            hunt.cases += reached + bool(ended) - number
            number = reached + bool(ended)
    hunt.seconds = monotonic() - begun
    return hunt


def _watched(plan: dict[str, Any], folder: Path, hunt: Hunt, limits: tuple[float, float]) -> str:
    """Run a child; "" where it ended well or the time was up, else how it died."""
    progress, (until, patience) = Path(plan["progress"]), limits
    with started(plan, folder) as child, selectors.DefaultSelector() as ready:
        assert child.stdout is not None
        ready.register(child.stdout, selectors.EVENT_READ)
        at, seen = b"", monotonic()
        while True:
            if ready.select(1.0):
                line = child.stdout.readline()
                if not line:
                    break
                hunt.keep(json.loads(line))
            now = progress.read_bytes()
            if now != at:
                at, seen = now, monotonic()
            if monotonic() >= until:
                child.kill()
                return ""
            if monotonic() > seen + patience:
                child.kill()
                return "hangs in a library"
        code = child.wait()
    return "" if code == 0 else f"the process died with {code}"


def guided(target: str, seconds: int) -> Hunt:
    """Run cases that follow the lines they reach; none where Atheris is not installed."""
    hunt, begun = Hunt(target), monotonic()
    with scratch() as folder, started({"target": target, "guided": seconds}, folder) as child:
        assert child.stdout is not None
        for line in child.stdout:
            hunt.keep(json.loads(line))
    hunt.seconds = monotonic() - begun
    return hunt


def made(target: str, seed: int, number: int) -> str:
    """A case that killed its child, in base64: another child makes it again and leaves it alone."""
    plan = {"target": target, "seed": seed, "make": number}
    with scratch() as folder, started(plan, folder) as child:
        out, _ = child.communicate()
    lines = out.splitlines()
    return str(json.loads(lines[-1])["made"]) if lines else ""  # none: it died of the making


def shapes(target: str, seed: int, cases: int) -> list[str]:
    """One message of each kind that so many cases bring forth."""
    with (
        scratch() as folder,
        started({"target": target, "seed": seed, "shapes": cases}, folder) as it,
    ):
        out, _ = it.communicate()
    return [json.loads(line)["shape"] for line in out.splitlines()]


def kept(hunt: Hunt, seconds: float = 20.0) -> list[Path]:
    """Write the first case of each finding, made small, to the seeds."""
    written = []
    for signature, finding in hunt.found.items():
        if not finding["data"]:
            continue
        plan = {"target": hunt.target, "shrink": finding["data"], "seconds": seconds}
        with scratch() as folder, started(plan, folder) as child:
            out, _ = child.communicate()
        data = json.loads(out.splitlines()[-1])["shrunk"] if out else finding["data"]
        name = "".join(letter if letter.isalnum() else "_" for letter in signature)[:80]
        path = SEEDS / hunt.target / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(base64.b64decode(data))
        written.append(path)
    return written


@contextlib.contextmanager
def started(plan: dict[str, Any], folder: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A child that runs a plan; it is dead afterwards."""
    own = Path(tempfile.mkdtemp(dir=folder))
    paths = os.pathsep.join((str(ROOT / "src"), str(ROOT / "tests")))
    written = folder / f"{own.name}.json"
    written.write_text(json.dumps(plan | {"scratch": str(own)}), encoding="utf-8")
    child = subprocess.Popen(
        [sys.executable, "-m", "fuzz.child", str(written)],
        stdout=subprocess.PIPE,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": paths, "OMP_NUM_THREADS": "1", "PYTHONHASHSEED": "0"},
    )
    try:
        yield child
    finally:
        if child.poll() is None:
            child.kill()
        child.wait()
        _closed(child.stdout)


def _closed(pipe: IO[bytes] | None) -> None:
    if pipe is not None:
        pipe.close()


@contextlib.contextmanager
def scratch() -> Iterator[Path]:
    """A folder that is gone afterwards, in memory where there is such a place."""
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(
        prefix="fuzz-", dir=memory if memory.is_dir() else None, ignore_cleanup_errors=True
    ) as folder:
        yield Path(folder)
