"""Makes the head that ships with the package: python -m seatwright.disk.compact_head SOFA OUT."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from seatwright.disk.heads import save_head
from seatwright.disk.sofa import read_sofa

NAME = "KEMAR dummy head, normal pinnae"
CREDIT = (
    "Bill Gardner and Keith Martin, MIT Media Lab, 1994 (Copyright 1994 by the MIT Media "
    "Laboratory; free with no restrictions on use, provided the authors are cited)"
)


def compact(sofa: Path, out: Path) -> None:
    """Prepare a measured set and write it in compact form.

    Raises
    ------
    SceneError
        If the SOFA file cannot be used.
    """
    save_head(replace(read_sofa(sofa), name=NAME, credit=CREDIT), out)


if __name__ == "__main__":
    compact(Path(sys.argv[1]), Path(sys.argv[2]))
