"""Which way each instrument radiates, per octave band: named approximations, not measurements.

Lobe directions come from published descriptions as remembered and rounded, not from their figures;
each row says which. A section of many players radiates as one of them: their patterns are alike,
and what spreads them, their places, is in the sources' width.

Sources
-------
Meyer : J. Meyer, "Acoustics and the Performance of Music", chapter on directional characteristics.
Paetynen and Lokki : J. Paetynen, T. Lokki, "Directivities of symphony orchestra instruments", Acta
    Acustica united with Acustica 96 (2010): strings and woodwinds change with the tone, brass
    radiate along the bell whatever the tone, dynamics change neither.
Marshall and Meyer : A. H. Marshall, J. Meyer, "The directivity and auditory impressions of
    singers", Acustica 58 (1985).
Fletcher and Rossing : N. H. Fletcher, T. D. Rossing, "The Physics of Musical Instruments".
Piston : Kinsler et al., "Fundamentals of Acoustics", see `lobes.bell`.
"""

from __future__ import annotations

from dataclasses import replace

from seatwright.acoustics.lobes import Lobe, Radiation, bell
from seatwright.stage.bands import Bands

_MEYER = "Meyer (from memory)"
_BELL = "piston along the bell; Paetynen and Lokki 2010; radius and aim from memory"
_RADIATORS = "Fletcher and Rossing: vibrating parts (from memory)"
_SINGERS = "Marshall and Meyer 1985 (from memory)"

_EVEN: Bands = (1.0,) * 9
_WIDE: Bands = (90.0,) * 9
_FACES: Bands = (70.0, 70.0, 68.0, 65.0, 62.0, 60.0, 55.0, 50.0, 50.0)

#                63   125  250  500  1k   2k   4k    8k    16k
_PLATE_SHARE = (1.0, 1.0, 1.0, 0.8, 0.5, 0.35, 0.25, 0.2, 0.2)
_PLATE_ENERGY = (0.0, 0.0, 0.1, 0.4, 0.9, 1.0, 1.0, 1.0, 1.0)
_PLATE_HALF = (90.0, 90.0, 90.0, 90.0, 80.0, 70.0, 60.0, 55.0, 50.0)
_PLATE_AHEAD = (0.0, 0.0, 0.0, 0.1, 0.2, 0.4, 0.4, 0.3, 0.3)

_VIOLIN = Radiation(
    _PLATE_SHARE,
    (Lobe(50.0, 50.0, _PLATE_ENERGY, _PLATE_HALF), Lobe(60.0, 5.0, _PLATE_AHEAD, _PLATE_HALF)),
    "Meyer (from memory): even below 500 Hz, then along the normal of the top plate",
)

#                63   125  250  500  1k   2k   4k    8k    16k
_CELLO = Radiation(
    (1.0, 1.0, 0.8, 0.6, 0.5, 0.35, 0.3, 0.25, 0.25),
    (
        Lobe(5.0, 15.0, (0.0, 0.1, 0.5, 0.9, 1.0, 0.6, 0.4, 0.4, 0.4), _PLATE_HALF),
        Lobe(5.0, 55.0, (0.0, 0.0, 0.0, 0.1, 0.3, 0.8, 0.9, 0.8, 0.8), _PLATE_HALF),
        Lobe(5.0, -30.0, (0.0, 0.0, 0.0, 0.0, 0.1, 0.4, 0.5, 0.5, 0.5), _PLATE_HALF),
    ),
    "Meyer (from memory): ahead from 200-300 Hz, above 2 kHz also steeply up and to the floor",
)
_DOUBLE_BASS = Radiation(
    (1.0, 1.0, 0.7, 0.5, 0.4, 0.35, 0.3, 0.25, 0.25),
    (
        Lobe(10.0, 10.0, (0.0, 0.2, 0.7, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0), _PLATE_HALF),
        Lobe(10.0, 50.0, (0.0, 0.0, 0.0, 0.1, 0.3, 0.4, 0.4, 0.4, 0.4), _PLATE_HALF),
    ),
    "Meyer (from memory): even below 100-150 Hz, then ahead",
)

# Two openings on a tube that points to the player's right: nothing along it, all around it; the
# highest tones leave the tube's end, and the player's head is in the way of what goes back.
#                63   125  250  500  1k   2k   4k    8k    16k
_ACROSS = (0.8, 0.8, 0.9, 1.0, 1.0, 1.0, 0.9, 0.7, 0.6)
_ACROSS_BACK = (0.8, 0.8, 0.9, 1.0, 0.9, 0.6, 0.3, 0.1, 0.05)
_TUBE_END = (0.0, 0.0, 0.0, 0.0, 0.0, 0.1, 0.4, 0.8, 0.9)
_FLUTE_SHARE = (0.5, 0.5, 0.4, 0.3, 0.25, 0.2, 0.15, 0.12, 0.1)
_FLUTE = Radiation(
    _FLUTE_SHARE,
    (
        Lobe(0.0, 5.0, _ACROSS, _FACES),
        Lobe(180.0, 15.0, _ACROSS_BACK, _FACES),
        Lobe(80.0, -5.0, _TUBE_END, _FACES),
    ),
    "Meyer (from memory): a dipole across the tube, above 4 kHz also from its end",
)

#               63   125  250  500  1k   2k   4k    8k    16k
_HOLES = (0.2, 0.3, 0.4, 0.6, 0.9, 0.8, 0.3, 0.08, 0.04)
_MOUTH = (0.0, 0.0, 0.0, 0.05, 0.15, 0.5, 1.0, 1.0, 1.0)
_MOUTH_HALF = (90.0, 90.0, 90.0, 90.0, 90.0, 80.0, 60.0, 40.0, 30.0)
_REED_SHARE = (1.0, 1.0, 1.0, 0.8, 0.5, 0.3, 0.15, 0.08, 0.06)


def _reed(azimuth: float, elevation: float, source: str) -> Radiation:
    """From the open holes to both sides, above 3-4 kHz along the bell, which comes first."""
    mouth = Lobe(azimuth, elevation, _MOUTH, _MOUTH_HALF)
    sides = (Lobe(90.0, 10.0, _HOLES, _FACES), Lobe(-90.0, 10.0, _HOLES, _FACES))
    return Radiation(_REED_SHARE, (mouth, *sides), source)


_OBOE = _reed(0.0, -40.0, f"{_MEYER}: sideways, from 3-4 kHz along the bell")
_CLARINET = _reed(0.0, -55.0, f"{_MEYER}: sideways, from 3-4 kHz along the bell, held steeper")
_BASSOON = _reed(-30.0, 65.0, f"{_MEYER}: sideways, from 2 kHz up along the bell").moved(
    -0.5, f"{_MEYER}: sideways low, then up along the bell, which leans to the player's left"
)
_BASS_CLARINET = _reed(0.0, 35.0, "").moved(-1.0, "as a clarinet an octave below, bell turned up")

#              63   125  250  500  1k   2k   4k    8k    16k
_VOICE = Radiation(
    (6.0, 3.0, 1.5, 0.7, 0.5, 0.25, 0.08, 0.03, 0.02),
    (Lobe(0.0, -5.0, _EVEN, (90.0, 90.0, 90.0, 90.0, 90.0, 85.0, 70.0, 60.0, 50.0)),),
    f"{_SINGERS}: ahead and a little down, the head in the way behind",
)

#                63   125  250  500  1k   2k   4k    8k    16k
_STRUCK_SHARE = (1.0, 0.9, 0.7, 0.6, 0.5, 0.4, 0.3, 0.25, 0.2)
_STRUCK_UP = (0.3, 0.4, 0.6, 0.8, 1.0, 1.0, 1.0, 1.0, 1.0)
_STRUCK_DOWN = (0.3, 0.4, 0.5, 0.5, 0.5, 0.4, 0.3, 0.2, 0.2)
_SHADOWED = (0.0, 0.0, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0, 1.0)


def _all_round(weight: Bands, half_angle: Bands = _FACES) -> tuple[Lobe, ...]:
    """Four lobes that together make a belt around the horizontal."""
    return tuple(Lobe(azimuth, 0.0, weight, half_angle) for azimuth in (0.0, 90.0, 180.0, 270.0))


def _facing_both(share: Bands, source: str, back: float = 1.0) -> Radiation:
    """Ahead and back, as two faces radiate; `back` against ahead."""
    behind = Lobe(180.0, 0.0, (back,) * 9, _FACES)
    return Radiation(share, (Lobe(0.0, 0.0, _EVEN, _FACES), behind), source)


def _lying(source: str, down: Bands = _STRUCK_DOWN) -> Radiation:
    """Bars or skins that lie flat: up, less down."""
    up = Lobe(0.0, 85.0, _STRUCK_UP, _PLATE_HALF)
    return Radiation(_STRUCK_SHARE, (up, Lobe(0.0, -90.0, down, _PLATE_HALF)), source)


_TIMPANI = Radiation(
    (1.0, 0.8, 0.7, 0.6, 0.5, 0.4, 0.35, 0.3, 0.3),
    (
        Lobe(0.0, 90.0, (0.2, 0.3, 0.4, 0.6, 0.9, 1.0, 1.0, 1.0, 1.0), _PLATE_HALF),
        *_all_round((0.5, 0.6, 0.6, 0.5, 0.3, 0.2, 0.15, 0.1, 0.1)),
    ),
    f"{_MEYER}: up and to all sides",
)
_TRIANGLE = Radiation(
    _EVEN, (Lobe(0.0, 20.0, _SHADOWED, _WIDE),), "a thin rod all round, the player behind (a guess)"
)
_TUBES = Radiation(
    (0.8,) * 9,
    (Lobe(0.0, 5.0, _SHADOWED, _WIDE), *_all_round((0.3,) * 9)),
    f"{_RADIATORS}: upright tubes, to all sides; the player behind (a guess)",
)
_HARP = Radiation(
    (1.0, 0.9, 0.8, 0.7, 0.5, 0.4, 0.3, 0.25, 0.25),
    (Lobe(90.0, 15.0, _STRUCK_UP, _FACES), Lobe(-90.0, 15.0, _STRUCK_UP, _FACES)),
    f"{_MEYER}: from both sides of the soundboard",
)

#         63   125  250  500  1k   2k   4k    8k    16k
_PIANO = Radiation(
    (1.0, 1.0, 0.8, 0.6, 0.5, 0.35, 0.2, 0.12, 0.1),
    (
        Lobe(90.0, 30.0, (0.2, 0.4, 0.7, 0.9, 1.0, 1.0, 1.0, 1.0, 1.0), _PLATE_HALF),
        Lobe(90.0, -40.0, (0.4, 0.4, 0.4, 0.4, 0.3, 0.15, 0.1, 0.05, 0.05), _PLATE_HALF),
    ),
    f"{_MEYER}: past the open lid to the player's right, less from below the soundboard",
)
_ORGAN = Radiation(
    (3.0, 2.0, 1.5, 1.0, 0.8, 0.6, 0.5, 0.4, 0.3),
    (Lobe(0.0, 5.0, _EVEN, _WIDE),),
    "pipes in a case that is open ahead (a guess)",
)
_GUITAR = Radiation(
    _PLATE_SHARE,
    (Lobe(0.0, 15.0, _PLATE_ENERGY, _PLATE_HALF),),
    f"{_RADIATORS}: ahead along the normal of the top plate",
).moved(-1.0, f"{_RADIATORS}: ahead along the normal of the top plate, which is large")
_CELESTA = _facing_both((1.5,) * 9, "a case open at both sides (a guess)", back=0.6)
_EVERYWHERE = Radiation(_EVEN, (), "the same in all directions, as nothing is known of it")

_CYMBALS = Radiation(
    _STRUCK_SHARE,
    (
        Lobe(0.0, 60.0, _STRUCK_UP, _PLATE_HALF),
        Lobe(180.0, -60.0, _STRUCK_DOWN, _PLATE_HALF),
    ),
    f"{_RADIATORS}: along the normals of the plates, tilted ahead",
)

RADIATION: dict[str, Radiation] = {
    "violin": _VIOLIN,
    "viola": _VIOLIN.moved(-0.6, f"{_MEYER}: as a violin a fifth below"),
    "cello": _CELLO,
    "double bass": _DOUBLE_BASS,
    "piccolo": _FLUTE.moved(1.0, f"{_MEYER}: as a flute an octave above"),
    "flute": _FLUTE,
    "alto flute": _FLUTE.moved(-0.4, "as a flute a fourth below"),
    "oboe": _OBOE,
    "english horn": _OBOE.moved(-0.6, f"{_MEYER}: as an oboe a fifth below"),
    "clarinet": _CLARINET,
    "bass clarinet": _BASS_CLARINET,
    "bassoon": _BASSOON,
    "contrabassoon": _reed(0.0, -30.0, "").moved(-1.5, "as a bassoon, bell folded ahead and down"),
    "saxophone": bell(0.06, 0.0, 35.0, f"{_BELL}: 6 cm, up and ahead; holes", around=0.5),
    # its facing is turned already: the bell points back, from there to the player's right
    # hand, leg and body blur the beam (no source)
    "horn": bell(0.155, -30.0, -15.0, f"{_BELL}: 15.5 cm, back and right", 25.0, 0.1),
    "trumpet": bell(0.06, 0.0, -5.0, f"{_BELL}: 6 cm, ahead"),
    "trombone": bell(0.11, 0.0, -5.0, f"{_BELL}: 11 cm, ahead"),
    "bass trombone": bell(0.125, 0.0, -5.0, f"{_BELL}: 12.5 cm, ahead"),
    "tuba": bell(0.20, 0.0, 80.0, f"{_BELL}: 20 cm, up"),
    "euphonium": bell(0.14, 0.0, 70.0, f"{_BELL}: 14 cm, up"),
    "timpani": _TIMPANI,
    "bass drum": _facing_both((1.0,) * 9, f"{_RADIATORS}: from both heads", back=0.8),
    "snare drum": _lying(f"{_RADIATORS}: from both heads, up and down"),
    "tom-toms": _lying(f"{_RADIATORS}: from the heads, up and down"),
    "cymbals": _CYMBALS,
    "tam-tam": _facing_both((0.5,) * 9, f"{_RADIATORS}: a plate, ahead and back"),
    "triangle": _TRIANGLE,
    "tambourine": _facing_both((1.0,) * 9, f"{_RADIATORS}: a skin, ahead and back", back=0.5),
    "glockenspiel": _lying(f"{_RADIATORS}: bars above a case, up", down=(0.1,) * 9),
    "xylophone": _lying(f"{_RADIATORS}: bars above tubes, up and down"),
    "marimba": _lying(f"{_RADIATORS}: bars above tubes, up and down"),
    "vibraphone": _lying(f"{_RADIATORS}: bars above tubes, up and down"),
    "tubular bells": _TUBES,
    "percussion": _EVERYWHERE,
    "harp": _HARP,
    "celesta": _CELESTA,
    "piano": _PIANO,
    "organ": _ORGAN,
    "harpsichord": replace(_PIANO, source="as a piano (a guess)"),
    "guitar": _GUITAR,
    "soprano": _VOICE,
    "alto": _VOICE,
    "tenor": _VOICE,
    "bass voice": _VOICE,
    "choir": _VOICE,
    "solo voice": _VOICE,
    "low support": _EVERYWHERE,
    "other": _EVERYWHERE,
}
"""Every known instrument; `percussion`, `low support` and `other` radiate alike all round."""
