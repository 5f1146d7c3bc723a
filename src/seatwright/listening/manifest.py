"""What a trial is: its versions, modes and guards, under an identity that follows from them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

TRIAL_FORMAT = 1
MINIMUM_SECONDS = 10.0
"""How long each version is heard before a vote, unless the stretch is shorter."""


def canonical(facts: Mapping[str, Any]) -> bytes:
    """JSON with sorted keys and no spaces, UTF-8: what checksums are taken of."""
    text = json.dumps(
        facts, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )
    return text.encode("utf-8", "replace")


def version_row(number: int, name: str, sha256: str, twin_of: str | None = None) -> dict[str, Any]:
    """A version of a manifest; numbers count from 1."""
    return {"id": f"v{number}", "name": name, "sha256": sha256, "twin_of": twin_of}


def trial_manifest(
    title: str,
    seconds: float,
    versions: Sequence[Mapping[str, Any]],
    seats: Sequence[str],
    identification_trials: int = 0,
) -> dict[str, Any]:
    """A trial with its identity.

    Parameters
    ----------
    title : str
    seconds : float
        Length of the compared stretch.
    versions : sequence of mapping
        As `version_row` gives them.
    seats : sequence of str
        Names on the plan.
    identification_trials : int
        How many times it is asked which of the first two versions X is; 0 for none.

    Returns
    -------
    dict
        Its `id` is 16 hexadecimal digits of the SHA-256 of all the rest.
    """
    pair = [versions[0]["id"], versions[1]["id"]]
    trial: dict[str, Any] = {
        "seatwright_trial": TRIAL_FORMAT,
        "title": title,
        "seconds": seconds,
        "versions": [dict(version) for version in versions],
        "modes": ["ranking"] + (["identification"] if identification_trials else []),
        "identification": (
            {"pair": pair, "trials": identification_trials} if identification_trials else None
        ),
        "minimum_seconds": min(MINIMUM_SECONDS, seconds),
        "seats": list(seats),
    }
    return {"id": hashlib.sha256(canonical(trial)).hexdigest()[:16], **trial}
