"""A trial: which versions are compared, and what listeners are asked about them.

Its manifest is a table with an identity that follows from all the rest of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from seatwright.errors import Fault, SceneError
from seatwright.listening.fields import VERSION_ID, Fields, shown
from seatwright.listening.plain_json import digest_fits, digest_of, read_json

TRIAL_FORMAT = 1
MINIMUM_SECONDS = 10.0
"""How long each version is heard before a vote, unless the stretch is shorter."""

LARGEST_TRIAL = 4 * 1024 * 1024
"""Bytes of a manifest."""

MOST_VERSIONS = 26
MODES = ("free", "ranking", "identification")


@dataclass(frozen=True)
class TrialVersion:
    """A version: its id in ballots, its name, SHA-256 of its audio, whose hidden twin it is."""

    id: str
    name: str
    sha256: str = ""
    twin_of: str | None = None


@dataclass(frozen=True)
class IdentificationPlan:
    """Two versions and how often a listener says which of them is played."""

    pair: tuple[str, str]
    trials: int


@dataclass(frozen=True)
class Trial:
    """A trial as its manifest describes it.

    Parameters
    ----------
    id : str
        First 16 hex digits of the SHA-256 of the rest of the manifest.
    title : str
    seconds : float
        Length of the excerpt.
    versions : tuple of TrialVersion
    modes : tuple of str
        "free", "ranking", "identification".
    identification : IdentificationPlan or None
    minimum_seconds : float
        Each ranked version has to be heard for so long.
    start : float
        Where the excerpt begins in the piece, in seconds.
    seats : tuple of str
        Names on the plan.
    assumed : bool
        Made up from ballots because no manifest was given: only id and versions are known.
    """

    id: str
    title: str
    seconds: float
    versions: tuple[TrialVersion, ...]
    modes: tuple[str, ...] = ()
    identification: IdentificationPlan | None = None
    minimum_seconds: float = 0.0
    seats: tuple[str, ...] = ()
    start: float = 0.0
    assumed: bool = False

    @property
    def names(self) -> dict[str, str]:
        """Names of the versions by id."""
        return {version.id: version.name for version in self.versions}

    @property
    def twins(self) -> tuple[tuple[str, str], ...]:
        """Each hidden twin and the version it repeats."""
        return tuple((v.id, v.twin_of) for v in self.versions if v.twin_of is not None)


def version_row(number: int, name: str, sha256: str, twin_of: str | None = None) -> dict[str, Any]:
    """A version of a manifest; numbers count from 1."""
    return {"id": f"v{number}", "name": name, "sha256": sha256, "twin_of": twin_of}


def trial_manifest(
    title: str,
    seconds: float,
    versions: Sequence[Mapping[str, Any]],
    seats: Sequence[str],
    identification_trials: int = 0,
    start: float = 0.0,
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
    start : float
        Where the stretch begins in the piece, in seconds.

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
        "start": start,
        "versions": [dict(version) for version in versions],
        "modes": ["ranking"] + (["identification"] if identification_trials else []),
        "identification": (
            {"pair": pair, "trials": identification_trials} if identification_trials else None
        ),
        "minimum_seconds": min(MINIMUM_SECONDS, seconds),
        "seats": list(seats),
    }
    return {"id": digest_of(trial)[:16], **trial}


def parse_trial(data: bytes) -> Trial:
    """Read a manifest.

    Raises
    ------
    SceneError
        With every fault: damaged or changed by hand, unknown twins, wrong kinds.
    """
    table = read_json(data, LARGEST_TRIAL)
    if "seatwright_trial" not in table:
        raise SceneError("found no key seatwright_trial, wanted a trial manifest")
    fields = Fields(table)
    fields.format("seatwright_trial", TRIAL_FORMAT)
    trial = Trial(
        id=fields.text("id", "[0-9a-f]{16}"),
        title=fields.text("title", longest=10_000),
        seconds=fields.number("seconds", 0.0, 86_400.0),
        versions=tuple(map(_version, fields.tables("versions", MOST_VERSIONS))),
        modes=_words(fields, "modes", 10, MODES),
        identification=_identification(fields),
        minimum_seconds=fields.number("minimum_seconds", 0.0, 86_400.0),
        seats=_words(fields, "seats", 10_000),
        start=0.0 if fields.missing("start") else fields.number("start", 0.0, 86_400.0),
    )
    faults = fields.faults or _unfit(trial, table)
    if faults:
        raise SceneError(faults)
    return trial


def _version(fields: Fields) -> TrialVersion:
    return TrialVersion(
        id=fields.text("id", VERSION_ID),
        name=fields.text("name", longest=10_000),
        sha256=fields.text("sha256", "[0-9a-f]{64}"),
        twin_of=None if fields.missing("twin_of") else fields.text("twin_of", VERSION_ID),
    )


def _words(fields: Fields, key: str, most: int, known: tuple[str, ...] = ()) -> tuple[str, ...]:
    words = fields.items(key, most)
    wrong = [word for word in words if not isinstance(word, str) or (known and word not in known)]
    if wrong:
        wanted = f"one of: {', '.join(known)}" if known else "text"
        fields.fault(key, f"found the entry {shown(wrong[0])}, wanted {wanted}")
        return ()
    return tuple(words)


def _identification(fields: Fields) -> IdentificationPlan | None:
    if fields.missing("identification"):
        return None
    plan = fields.inside("identification")
    pair = _words(plan, "pair", 2)
    trials = plan.whole("trials", 1, 1000)
    if len(set(pair)) != 2:
        plan.fault("pair", f"found {len(set(pair))} versions, wanted two different ones")
        return None
    return IdentificationPlan((pair[0], pair[1]), trials)


def _unfit(trial: Trial, table: dict[str, Any]) -> list[Fault]:
    """What fits no trial although every field for itself is right."""
    faults = []
    ids = [version.id for version in trial.versions]
    plain = {version.id for version in trial.versions if version.twin_of is None}
    if len(set(ids)) < len(ids) or not ids:
        listed = ", ".join(ids) or "none"
        faults.append(
            Fault(f"found the ids {listed}, wanted one or more, each once", key="versions")
        )
    for twin, original in trial.twins:
        if original not in plain:
            what = f"found {twin} as twin of {original}, wanted a version that is no twin itself"
            faults.append(Fault(what, key="versions"))
    if trial.identification and not set(trial.identification.pair) <= set(ids):
        pair = " and ".join(map(shown, trial.identification.pair))
        what = f"found {pair} to identify, wanted two of {', '.join(ids) or 'none'}"
        faults.append(Fault(what, key="identification.pair"))
    rest = {key: value for key, value in table.items() if key != "id"}
    if not faults and not digest_fits(rest, trial.id):
        what = f"found id {trial.id}, which is not that of the manifest's contents"
        faults.append(Fault(what, hint="changed by hand?"))
    return faults
