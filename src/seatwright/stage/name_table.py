"""Names that stems go by: instruments and sections in English, Italian, German and French.

Names and abbreviations are common practice, no source; so are the usual numbers of players.
"""

from __future__ import annotations

from dataclasses import dataclass

from seatwright.stage.instruments import Family


@dataclass(frozen=True)
class Part:
    """A part of the orchestra and every name it goes by.

    Parameters
    ----------
    name : str
        Such as "violins1"; unique.
    instrument : str
        Canonical name of what plays it, for height and radiation; the nearest one known.
    family : Family
        The section it joins.
    players : int
        Usual number.
    spellings : str
        Names and abbreviations, lower case, divided by "|".
    """

    name: str
    instrument: str
    family: Family
    players: int
    spellings: str


# fmt: off
_TABLE = (
    Part(
        "violins1", "violin", "strings", 14,
        "violin 1|violins 1|vln 1|vlns 1|vn 1|vl 1|v1|vni 1|violini 1|violino 1|"
        "1 violine|violine 1|violinen 1|viol 1|violons 1|violon 1|1st violins|"
        "violini primi|premiers violons|violons premiers|"
        "first violins|erste violinen|vv 1|primi violini",
    ),
    Part(
        "violins2", "violin", "strings", 12,
        "violin 2|violins 2|vln 2|vlns 2|vn 2|vl 2|v2|vni 2|violini 2|violino 2|"
        "2 violine|violine 2|violinen 2|viol 2|violons 2|violon 2|2nd violins|"
        "violini secondi|seconds violons|violons seconds|"
        "second violins|zweite violinen|vv 2|secondi violini",
    ),
    Part(
        "violin", "violin", "strings", 1,
        "violin|violins|violini|violino|violine|violinen|geige|geigen|violon|violons|"
        "vln|vlns|vn|vl|vni|fiddle|solo violin",
    ),
    Part(
        "violas", "viola", "strings", 10,
        "viola|violas|viole|bratsche|bratschen|br|va|vla|vlas|vle|alto strings|"
        "altos strings",
    ),
    Part(
        "cellos", "cello", "strings", 8,
        "cello|cellos|celli|violoncello|violoncelli|violoncelle|violoncelles|vc|vcl|"
        "vlc|vcs|vcllo|clo|clli",
    ),
    Part(
        "basses", "double bass", "strings", 6,
        "bass|basses|contrabass|contrabasses|double bass|double basses|contrabbasso|"
        "contrabbassi|contrebasse|contrebasses|kontrabass|kontrabaesse|kontrabasse|cb|"
        "kb|db|dbs|cbs",
    ),
    Part("strings", "violin", "strings", 50, "strings|string|archi|streicher|cordes|str|strs"),
    Part(
        "piccolo", "piccolo", "woodwinds", 1,
        "piccolo|picc|picc fl|piccolo flute|fl picc|pic|ottavino|ott|petite flute|pte fl|"
        "kleine floete|kl fl|piccolofloete|flauto piccolo|flute piccolo|flutes piccolos|"
        "pikkolo|pikkolofloete",
    ),
    Part(
        "flutes", "flute", "woodwinds", 2,
        "flute|flutes|fl|fls|flauto|flauti|floete|floeten|flote|floten|grande flute|"
        "gr fl|grosse floete|querfloete|querfloeten|traversfloete",
    ),
    Part(
        "alto flute", "alto flute", "woodwinds", 1,
        "alto flute|alt fl|alto fl|a fl|afl|altfloete|flauto contralto|flute en sol",
    ),
    Part("bass flute", "alto flute", "woodwinds", 1, "bass flute|b fl|bassfloete"),
    Part("oboes", "oboe", "woodwinds", 2, "oboe|oboes|ob|obs|oboi|oboen|hautbois|hb|htb|hoboe"),
    Part(
        "english horn", "english horn", "woodwinds", 1,
        "english horn|cor anglais|ca|c a|eh|e h|e hn|eng hn|c ing|corno inglese|"
        "cor ing|cor ingl|englischhorn|engl horn|engl h|c angl|cor angl",
    ),
    Part(
        "clarinets", "clarinet", "woodwinds", 2,
        "clarinet|clarinets|cl|cls|clar|clarinetto|clarinetti|klarinette|klarinetten|"
        "kl|klar|clarinette|clarinettes",
    ),
    Part(
        "eb clarinet", "clarinet", "woodwinds", 1,
        "eb clarinet|e flat clarinet|es klarinette|cl picc|clarinetto piccolo|eb cl|"
        "es kl|petite clarinette",
    ),
    Part(
        "bass clarinet", "bass clarinet", "woodwinds", 1,
        "bass clarinet|b cl|bcl|bs cl|bass cl|clarone|cl basso|clarinetto basso|"
        "bassklarinette|bkl|b kl|bass kl|clarinette basse|cl b",
    ),
    Part(
        "bassoons", "bassoon", "woodwinds", 2,
        "bassoon|bassoons|bn|bsn|bsns|fg|fag|fagotto|fagotti|fagott|fagotte|"
        "basson|bassons|bons|bon",
    ),
    Part(
        "contrabassoon", "contrabassoon", "woodwinds", 1,
        "contrabassoon|cbsn|cbn|c bn|c bsn|c fag|cfg|cfag|kfg|k fag|kontrafagott|"
        "controfagotto|contrebasson|cbon|double bassoon",
    ),
    Part(
        "saxophones", "saxophone", "woodwinds", 1,
        "sax|saxes|saxophone|saxophones|sassofono|saxophon|alto sax|tenor sax|"
        "soprano sax|baritone sax|bari sax|bass sax|altsaxophon|tenorsaxophon",
    ),
    Part(
        "horns", "horn", "brass", 4,
        "horn|horns|french horn|french horns|hn|hns|hr|hrn|f hn|fhn|corno|corni|cor|"
        "cors|waldhorn|hoerner|horner",
    ),
    Part(
        "trumpets", "trumpet", "brass", 3,
        "trumpet|trumpets|tpt|tpts|trp|trpt|tr|tromba|trombe|trompete|trompeten|"
        "trompette|trompettes|cornet|cornets|flugelhorn|piccolo trumpet|picc tpt|pic tpt|"
        "piccolotrompete",
    ),
    Part(
        "trombones", "trombone", "brass", 3,
        "trombone|trombones|tbn|tbns|trb|trbn|tromboni|posaune|posaunen|pos|"
        "tenor trombone|tenor trombones|trombone tenore|tromboni tenori|"
        "tromb|trombs|tromb ten|ten tbn|tenor tbn|tenorposaune",
    ),
    Part(
        "bass trombone", "bass trombone", "brass", 1,
        "bass trombone|b tbn|btbn|bs tbn|bass tbn|bassposaune|bpos|trombone basso|"
        "b trb",
    ),
    Part("tuba", "tuba", "brass", 1, "tuba|tubas|tba|tb|basstuba|contrabass tuba|bass tuba"),
    Part("cimbasso", "tuba", "brass", 1, "cimbasso|cimb"),
    Part(
        "wagner tubas", "horn", "brass", 4,
        "wagner tuba|wagner tubas|wtba|wagnertuben|tenortuben",
    ),
    Part(
        "euphonium", "euphonium", "brass", 1,
        "euphonium|euph|baritone horn|tenor horn|tenorhorn|bariton horn",
    ),
    Part("low brass", "trombone", "brass", 5, "low brass|lowbrass"),
    Part("brass", "trumpet", "brass", 11, "brass|brs|ottoni|blech|blechblaeser|cuivres"),
    Part(
        "woodwinds", "oboe", "woodwinds", 8,
        "woodwind|woodwinds|ww|wwinds|winds|legni|holz|holzblaeser|bois",
    ),
    Part(
        "timpani", "timpani", "percussion", 1,
        "timpani|timp|timps|tp|pauken|pauke|pk|pkn|timbales|timbali|timb|kettledrums",
    ),
    Part(
        "bass drum", "bass drum", "percussion", 1,
        "bass drum|bd|b d|gran cassa|gr c|gc|g c|grosse trommel|gr tr|gr trommel|"
        "grosse caisse|gr caisse|concert bass drum",
    ),
    Part(
        "snare", "snare drum", "percussion", 1,
        "snare|snare drum|snares|sd|s d|side drum|tamburo|tamb militare|"
        "kleine trommel|kl tr|kl trommel|trommel|caisse claire|c cl|field drum|tamburo militare",
    ),
    Part(
        "tom toms", "tom-toms", "percussion", 1,
        "toms|tenor drum|tenor drums|tom toms|tomtoms|tom tom|taiko|taikos|ensemble drums",
    ),
    Part(
        "cymbals", "cymbals", "percussion", 1,
        "cymbals|cymbal|cym|cyms|cymb|piatti|ptti|becken|bck|bkn|cymbales|crash|"
        "sus cym|susp cym|piatto sospeso|piatti sosp",
    ),
    Part("tam tam", "tam-tam", "percussion", 1, "tam tam|tamtam|gong|gongs|t tam"),
    Part("triangle", "triangle", "percussion", 1, "triangle|trgl|tri|triangolo|triangel"),
    Part(
        "tambourine", "tambourine", "percussion", 1,
        "tambourine|tamb|tamburino|tamburello|schellentrommel|tambour de basque|tmbn",
    ),
    Part(
        "glockenspiel", "glockenspiel", "percussion", 1,
        "glockenspiel|glsp|glk|glock|gsp|campanelli|jeu de timbres|j de t|"
        "orchestra bells",
    ),
    Part(
        "xylophone", "xylophone", "percussion", 1,
        "xylophone|xyl|xylo|xilofono|silofono|xylophon",
    ),
    Part("marimba", "marimba", "percussion", 1, "marimba|mar|mba|marimbafono"),
    Part(
        "vibraphone", "vibraphone", "percussion", 1,
        "vibraphone|vib|vibes|vibr|vibrafono|vibraphon",
    ),
    Part(
        "tubular bells", "tubular bells", "percussion", 1,
        "tubular bells|tub bells|t bells|chimes|campane|campane tubolari|cloches|"
        "roehrenglocken|glocken|rgl",
    ),
    Part(
        "crotales", "glockenspiel", "percussion", 1,
        "crotales|crot|crotali|antique cymbals|zimbeln",
    ),
    Part(
        "woodblock", "percussion", "percussion", 1,
        "woodblock|wood block|wb|temple blocks|tempelbloecke|castanets|cast|nacchere",
    ),
    Part(
        "mark tree", "triangle", "percussion", 1,
        "mark tree|bell tree|wind chimes|sleigh bells|sonagli|schellen",
    ),
    Part(
        "percussion", "percussion", "percussion", 3,
        "percussion|perc|percs|prc|schlagzeug|schlagwerk|schlg|schlgz|batteria|percussioni|batterie|"
        "metals|woods|drums|small perc",
    ),
    Part(
        "harp", "harp", "keyboards", 1,
        "harp|harps|hp|hps|hrp|hf|arpa|arpe|a|harfe|harfen|harpe|harpes|hpe",
    ),
    Part("celesta", "celesta", "keyboards", 1, "celesta|celeste|cel|cels|clst"),
    Part(
        "piano", "piano", "keyboards", 1,
        "piano|pno|pf|pfte|klavier|klav|kl av|pianoforte|flygel|fluegel",
    ),
    Part(
        "keyboards", "piano", "keyboards", 2,
        "keyboard|keyboards|keys|tasten|tasteninstrumente|tastiere|claviers",
    ),
    Part("organ", "organ", "keyboards", 1, "organ|org|organo|orgel|orgue|pipe organ"),
    Part(
        "harpsichord", "harpsichord", "keyboards", 1,
        "harpsichord|hpsd|cembalo|cemb|clavecin|clav|clavicembalo|hpschd",
    ),
    Part(
        "guitar", "guitar", "keyboards", 1,
        "guitar|gtr|git|chitarra|chit|gitarre|guitare|mandolin|mand|lute|laute",
    ),
    Part("soprano", "soprano", "choir", 12, "soprano|sopranos|sop|soprani|sopran"),
    Part(
        "alto", "alto", "choir", 12,
        "alto|altos|alti|contralto|contralti|mezzo|mezzos|choir alto|alt",
    ),
    Part("tenor", "tenor", "choir", 12, "tenor|tenors|ten|tenore|tenori|tenoere"),
    Part(
        "choir bass", "bass voice", "choir", 12,
        "choir bass|choir basses|chorus bass|bassi coro|bass voices|bariton|baritone|"
        "men basses|choir b",
    ),
    Part(
        "choir", "choir", "choir", 48,
        "choir|chorus|chor|coro|choeur|choeurs|satb|chr|women|men|boys|children|"
        "frauenchor|maennerchor|femmes|hommes|choir women|choir men|"
        "kinderchor|vocals|voices",
    ),
    Part(
        "solo voice", "solo voice", "choir", 1,
        "solo voice|vox|vocal|solo vocal|voice|voce|stimme|voix",
    ),
    Part("continuo", "organ", "keyboards", 2, "continuo|basso continuo|bc"),
    Part(
        "low support", "low support", "support", 1,
        "sub|sub bass|subbass|low support|sub line|sub support|lfe|sub low",
    ),
)
# fmt: on

PARTS: dict[str, Part] = {part.name: part for part in _TABLE}

GROUPS = ("strings", "woodwinds", "brass", "low brass", "percussion", "keyboards", "choir")
"""Parts that stand for a whole family; before another name they only say where it belongs."""

ROLES = ("continuo",)
"""Parts that are only what another part does where one is named with them."""

AMBIGUOUS: dict[str, tuple[str, ...]] = {
    "cor": ("horns", "english horn"),
    "alto": ("alto", "violas", "alto flute", "saxophones"),
    "alt": ("alto", "violas", "alto flute"),
    "altos": ("alto", "violas"),
    "bass": ("basses", "choir bass", "low support"),
    "basses": ("basses", "choir bass"),
    "br": ("violas", "brass"),
    "tr": ("trumpets", "trombones", "triangle", "snare"),
    "tamb": ("tambourine", "snare"),
    "cel": ("celesta", "cellos"),
    "tb": ("tuba", "trombones", "tubular bells"),
    "bons": ("bassoons", "trombones"),
    "a": ("harp", "alto"),
    "b cl": ("bass clarinet", "clarinets"),
    "b fl": ("bass flute", "flutes"),
    "pic": ("piccolo", "trumpets"),
    "soprano": ("soprano", "saxophones"),
    "tenor": ("tenor", "saxophones", "trombones"),
    "ten": ("tenor", "saxophones", "trombones"),
    "bari": ("choir bass", "saxophones", "euphonium"),
    "baritone": ("choir bass", "saxophones", "euphonium"),
    "basso": ("basses", "choir bass"),
    "bassi": ("basses", "choir bass"),
    "bells": ("tubular bells", "glockenspiel", "mark tree"),
    "drum": ("snare", "bass drum", "tom toms"),
}
"""Spellings with more than one meaning in practice, and what each can mean."""
