"""A target that does harm, so that tests see whether the harness notices."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterable
from random import Random

from seatwright.errors import Fault, SceneError

_AT = 700
"""The case that does harm, where one is enough."""


class HarmTarget:
    """One kind of harm."""

    def __init__(self, kind: str):
        self.name, self.kind, self.cases = f"harm-{kind}", kind, 0
        self.kept: list[bytes] = []
        self.open: list[int] = []

    def make(self, chance: Random) -> bytes:
        return chance.randbytes(4)

    def run(self, data: bytes) -> Iterable[Fault | str]:
        """Do the harm, mostly at one case."""
        self.cases += 1
        if self.kind == "growth":
            self.kept.append(b"x" * 2**19)
        if self.kind == "files":
            self.open += [os.open("/dev/null", os.O_RDONLY)] if self.cases % 20 == 0 else []
        if self.kind == "some" and data[0] < 8:
            raise ValueError(data.hex())
        if self.cases == _AT:
            self.harm()
        return []

    def harm(self) -> None:
        match self.kind:
            case "error":
                _ = 1 // 0
            case "slow":
                while True:
                    pass
            case "memory":
                self.kept.append(bytes(2**31))
            case "death":
                os.abort()
            case "hang":
                signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGPROF})
                signal.pause()
            case "words":
                raise SceneError(_Raw("found \x1b[2J, wanted plain text"))
            case "letters":
                raise SceneError(Fault("found " + "x" * 3000))


class _Raw(Fault):
    """A fault that shows its words as they are."""

    def __str__(self) -> str:
        return self.what


def target(kind: str) -> HarmTarget:
    """The target that does one kind of harm."""
    return HarmTarget(kind)
