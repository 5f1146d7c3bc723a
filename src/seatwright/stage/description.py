"""The base of everything a scene file describes: frozen, strict, hashable.

A description refuses unknown keys, wrong types and numbers that are not finite, and is its own
cache key: two equal descriptions hash alike.
"""

from __future__ import annotations

import json
import re
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field


class Description(BaseModel):
    """A frozen table of a scene file."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        strict=True,
        allow_inf_nan=False,
        use_attribute_docstrings=True,
    )

    def __hash__(self) -> int:
        return hash(self.model_dump_json())


Decibels = Annotated[float, Field(ge=-120.0, le=60.0)]
"""A level or gain in dB; below -120 write `mute = true`."""

Degrees = Annotated[float, Field(ge=-360.0, le=360.0)]
Metres = Annotated[float, Field(ge=-1000.0, le=1000.0)]
Length = Annotated[float, Field(gt=0.0, le=1000.0)]

_CONTROLS = r"\x00-\x1f\x7f-\x9f\u2028\u2029"

Name = Annotated[str, Field(min_length=1, max_length=200, pattern=rf"^[^{_CONTROLS}/\\]+$")]
"""A seat, section or seating: no control characters, no path separators."""

StemName = Annotated[str, Field(min_length=1, max_length=1000, pattern=rf"^[^{_CONTROLS}]+$")]
"""A file name with or without folders: no control characters."""

Line = Annotated[str, Field(pattern=rf"^[^{_CONTROLS}]*$")]
"""Text on one line: no control characters."""

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


def dotted_key(*parts: str) -> str:
    """Join the parts of a key as TOML writes it, quoted where a part needs it.

    Parameters
    ----------
    *parts : str
        For example "seats", "vln. 1", "bearing".

    Returns
    -------
    str
        For example 'seats."vln. 1".bearing'.
    """
    return ".".join(
        part if _BARE_KEY.fullmatch(part) else json.dumps(part, ensure_ascii=False)
        for part in parts
    )
