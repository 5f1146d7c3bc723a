"""Words of a stem's file name that say nothing about which part plays."""

from __future__ import annotations

import re

_PLAYED = """
 legato leg staccato stacc stac spiccato spicc spic pizzicato pizz piz tremolo trem arco sustain
 sustained sustains sus sust long longs short shorts marcato marc detache tenuto sordino sord sords
 muted mute con senza open stopped solo soli tutti div divisi unis harmonics harm trill trills
 vibrato vib nv flautando ponticello pont sul tasto col legno ord ordinario swell swells fx effects
 rolls roll hits hit mallets brushes articulation art artic expr expressive soft loud
 pp ppp mp mf ff fff sfz fp ten ensemble section sect chamber
"""

_MIXED = """
 mix mixes mixdown mixdowns fullmix premix master masters printmaster print prints bounce bounces
 rough roughs ref refs reference click clicks clicktrack metronome
 mischung abmischung rohmix endmix referenz klick klicktrack metronom
 mixage clic missaggio mixaggio riferimento metronomo
"""

_RECORDED = """
 close spot spots tree outriggers outrigger outrig ambient amb ambience room hall far mid near main
 mains surround surr wide mics mic mix mixed full stereo mono stem stems bus group grp aux track trk
 tr0 channel chan ch audio bounce bounced print export exported render rendered final fin master
 mastered take tk version ver rev draft edit ed comp wet dry raw clean new old copy cue bars bar
 take1 bpm khz bit hz wav aif flac left right lr part pt prt orch orchestra orchestral real live
 midi demo music score piece song in of the and de la le les der die das il el und et e
"""

NOISE = frozenset(_PLAYED.split() + _RECORDED.split())
"""Words that only describe how or where a part was played, recorded or kept."""

MIXES = frozenset(_MIXED.split())
"""Words by which a file without an instrument in its name says that it is no stem.

English, German, French and Italian; common practice, no source.
"""

CUE = re.compile(
    r"(?<![a-z0-9])(\d+m\d+[a-z]?|v0\d|v[3-9]\d*|[tr]\d{1,2}|k\d{2,3}|\d{2,3}(k|khz|hz|bit|bpm)|\d{1,2}(fach|mallets?|bars?))"
    r"(?![a-z0-9])"
)
"""Cue, take, version, rate, tempo, how many mallets, voices or bars."""
