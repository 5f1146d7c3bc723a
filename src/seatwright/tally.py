"""Tally: from ballots on disk to what the listeners said, in reading order."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from seatwright.disk.ballot_files import read_ballots, read_trial
from seatwright.disk.whole_file import write_whole
from seatwright.errors import Fault, SceneError
from seatwright.listening.tallying import Refused, Tally, count_votes, sorted_out
from seatwright.views.tally_page import tally_page

_SEED = 1785
"""Of the resamples: the same ballots always give the same intervals."""


def tally(ballots: Sequence[Path], trial: Path | None = None, html: Path | None = None) -> Tally:
    """Count ballots.

    Parameters
    ----------
    ballots : sequence of Path
        Files and folders; or codes.
    trial : Path, optional
        Manifest of the trial; without it the trial most ballots belong to is counted, and
        versions have no names.
    html : Path, optional
        Page to write.

    Returns
    -------
    Tally

    Raises
    ------
    SceneError
        If no ballot counts, with the reason of each; if the manifest is none.
    DiskError
        If something cannot be read or written.
    """
    manifest = read_trial(trial) if trial else None
    pile = read_ballots(ballots)
    known, counted, broken = sorted_out(pile.read, manifest)
    refused = [*pile.refused, *broken]
    if known is None or not counted:
        raise _nothing_counted(refused)
    found = count_votes(counted, known, np.random.default_rng(_SEED), refused)
    if html is not None:
        write_whole(html, tally_page(found).encode("utf-8", "backslashreplace"))
    return found


def _nothing_counted(refused: list[Refused]) -> SceneError:
    summary = Fault(f"found no ballot that counts among {len(refused)}, wanted at least one")
    return SceneError([*(Fault(one.why, file=one.source) for one in refused), summary])
