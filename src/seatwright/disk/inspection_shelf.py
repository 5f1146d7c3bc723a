"""Inspections of stems in the store of results, kept by the file as it stands, or by its audio."""

from __future__ import annotations

from dataclasses import dataclass

from seatwright.disk.file_contents import file_content, settled_state
from seatwright.disk.kept_file import DamagedFile
from seatwright.disk.stem_reader import Stem
from seatwright.disk.store import Store
from seatwright.disk.store_keys import key_of
from seatwright.errors import StemError
from seatwright.sound.inspection import StemInspection
from seatwright.sound.inspection_record import inspection_record, recorded_inspection


@dataclass(frozen=True)
class InspectionShelf:
    """Finds and keeps inspections; several threads may use one.

    Parameters
    ----------
    store : Store
    """

    store: Store

    def found(self, stem: Stem) -> StemInspection | None:
        """The full inspection of this very audio, None where there is none."""
        key = self._key(stem)
        reader = self.store.find("stems", key) if key else None
        if reader is None:
            return None
        try:
            names = reader.facts["arrays"]
            arrays = {name: reader.read(place) for place, name in enumerate(names)}
            broadcast = stem.broadcast
            start = broadcast.time_reference / stem.rate if broadcast else None
            return recorded_inspection(reader.facts["values"], arrays, str(stem.path), start)
        except (DamagedFile, KeyError, TypeError, ValueError, AttributeError) as error:
            damage = error if isinstance(error, DamagedFile) else None
            self.store.forget(damage or DamagedFile(reader.path, repr(error)))
            return None
        finally:
            reader.close()

    def keep(self, stem: Stem, inspection: StemInspection) -> None:
        """Keep a full inspection, if the disk lets it."""
        if key := self._key(stem):
            values, arrays = inspection_record(inspection)
            facts = {"values": values, "arrays": list(arrays)}
            self.store.keep("stems", key, facts, list(arrays.values()))

    def _key(self, stem: Stem) -> str:
        """Of a stem's file as it stands, or of its audio where it has just changed; "" for none.

        Reading a stem for its digest would cost a fifth of inspecting it.
        """
        form = (stem.rate, stem.channels, stem.frames, stem.encoding)
        if state := settled_state(stem.path):
            return key_of("stems", str(stem.path.absolute()), state, *form)
        try:
            content = file_content(stem.path, self.store)
        except StemError:
            return ""
        return key_of("stems", content.audio, *form)
