"""A failing case made as small as it goes while it fails in the same way.

Source: delta debugging, A. Zeller and R. Hildebrandt, "Simplifying and isolating failure-inducing
input", IEEE Transactions on Software Engineering 28 (2002); here with complements alone.
"""

from __future__ import annotations

from time import monotonic

from fuzz.judge import Target, judged


def shrunk(target: Target, data: bytes, seconds: float) -> bytes:
    """Leave out ever smaller pieces, for some seconds at most."""
    first = judged(target, data).finding
    if first is None:
        return data
    until, size = monotonic() + seconds, max(1, len(data) // 2)
    while monotonic() < until:
        smaller = _thinned(target, data, size, first.signature, until)
        if size == 1 and smaller == data:
            break
        size = max(1, min(size, len(smaller)) // 2)
        data = smaller
    return data


def _thinned(target: Target, data: bytes, size: int, signature: str, until: float) -> bytes:
    """The data without every piece of a size that the failure does not need."""
    start = 0
    while start < len(data) and monotonic() < until:
        candidate = data[:start] + data[start + size :]
        found = judged(target, candidate).finding
        if found is not None and found.signature == signature:
            data = candidate
        else:
            start += size
    return data
