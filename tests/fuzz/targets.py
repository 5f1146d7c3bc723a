"""The ways into the package that cases are made for, by name."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fuzz.judge import Target

TARGETS = ("scene", "audio", "ballot", "report", "names", "draft", "sofa")
HARM = "harm-"
"""Begins the names of targets that the tests of the harness use."""


def target_of(name: str, scratch: Path) -> Target:
    """A target, made in a folder of its own that it may fill; what others need is not loaded."""
    module, _, kind = name.partition("-")
    made: Target = import_module(f"fuzz.{module}_cases").target(kind or scratch)
    return made


def known(name: str) -> str:
    """A name, if it is one of a target."""
    if name not in TARGETS and not name.startswith(HARM):
        raise ValueError(f"found target {name}, wanted one of {', '.join(TARGETS)}")
    return name
