"""What the meters say of an output, found in the store or kept there."""

from __future__ import annotations

from dataclasses import asdict

from seatwright.disk.kept_file import DamagedFile
from seatwright.disk.store import Store
from seatwright.disk.typed_facts import typed
from seatwright.sound.mix import Levels
from seatwright.sound.spectra import Picture


def known_levels(store: Store | None, key: str) -> tuple[Levels, Picture] | None:
    """Levels and picture of an output; None where they are not known.

    Parameters
    ----------
    store : Store or None
    key : str
        What the output follows from; "" for one that is never known.
    """
    reader = store.find("levels", key) if store and key else None
    if store is None or reader is None:
        return None
    try:
        levels = typed(Levels, reader.facts["levels"])
        bands, spectrum, course = (reader.read(place) for place in range(3))
        return levels, Picture(bands, spectrum, float(reader.facts["step"]), course)
    except (DamagedFile, KeyError, TypeError, ValueError) as error:
        found = error if isinstance(error, DamagedFile) else DamagedFile(reader.path, repr(error))
        store.forget(found)
        return None
    finally:
        reader.close()


def keep_levels(store: Store | None, key: str, levels: Levels, picture: Picture) -> None:
    """Keep levels and picture of an output that has a key."""
    if store is not None and key:
        facts = {"levels": asdict(levels), "step": picture.step}
        arrays = [picture.bands, picture.spectrum_db, picture.course_db]
        store.keep("levels", key, facts, arrays)
