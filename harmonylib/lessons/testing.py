"""The test of a melody: degrees, two-note shells, the middle filled in, triads, tall chords, and foreign notes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import combinations
from operator import itemgetter

from harmonylib.arranging.arrange import arrange
from harmonylib.arranging.choice import Choice
from harmonylib.errors import HarmonyError
from harmonylib.guitar.grips import Grip
from harmonylib.guitar.neck import Neck
from harmonylib.lessons.lesson import ON_A_TUNE, Lesson
from harmonylib.lessons.music import Remarked, as_row, carried, here, in_chord, place, remarked
from harmonylib.lessons.row import Row, row
from harmonylib.lessons.said import Said, section
from harmonylib.lessons.symbols import chord_of
from harmonylib.lessons.table import Table, table
from harmonylib.pictures.melody import melody_picture
from harmonylib.pictures.picture import Picture
from harmonylib.score.engraving import Page
from harmonylib.theory.chords import Chord
from harmonylib.theory.pitch import Pitch
from harmonylib.theory.tones import DEGREE_WORDS, degree_of
from harmonylib.theory.voicings import SPREADS, inversions, voice
from harmonylib.tunes.chordtones import ROLES
from harmonylib.tunes.reading import read_text
from harmonylib.wording import joined, many

EIGHT_WAYS = """T:Eight ways to be foreign
M:4/4
L:1/4
K:C
"Cmaj7"C D E F | E G ^D E | G c _A G | G A c F | "G7"F c D F | "Cmaj7"F E C2 |]"""

AFTER_THE_SLASH = 'T:Slash\nM:4/4\nL:1/4\nK:C\nz2 G2 | "C/E"c4 | "C/D"c4 | "N.C."G4 |]'

SHELLS_SHOWN = 4


@section
def melody_test(today: Lesson) -> Picture | Remarked | Page:
    """The melody of the lesson's bars against its chords, each note with its degree or what it does."""
    return remarked(today, melody_picture(today.music.tune, bars=today.bars, title=today.tune.title))


@section
def degrees(today: Lesson, most: int = 12) -> Table:
    """Every note of the lesson's bars: its chord, and its degree or what it does.

    >>> from harmonylib.lessons.lesson import lesson
    >>> degrees(lesson(3)).head
    ('bar.beat', 'note', 'over', 'is')
    """
    rows = [(place(today.music, c), c.note.pitch.name, c.chord or "N.C.", _verdict(c)) for c in here(today)[:most]]
    if not rows:
        raise HarmonyError(f"bars {today.bars[0]} to {today.bars[1]} hold no notes")
    return table("bar.beat | note | over | is", rows, remarks=today.remarks(*ON_A_TUNE))


def _verdict(choice: Choice) -> str:
    if choice.tested.degree:
        return f"the {DEGREE_WORDS[choice.tested.degree]} ({choice.tested.degree})"
    return f"foreign: {choice.tested.role}" if choice.tested.role else "no chord sounds"


@section
def counted_up(today: Lesson) -> Table:
    """The degrees of the first chord of the lesson's bars, counted up from its root."""
    chord = in_chord(today)[0].chord
    assert chord is not None
    rows = (
        (degree, chord.name_of(degree), many((chord.pitch_class_of(degree) - chord.root.pitch_class) % 12, "semitone"))
        for degree in chord.tones.values()
    )
    return table(f"degree of {chord} | note | above {chord.root}", rows, remarks=today.remarks(*ON_A_TUNE))


def shell_grip(neck: Neck, melody: Pitch, chord: Chord) -> Grip | None:
    """The melody note with its chord's root under it, near together where it can be; None when no hand holds them."""
    found, count = [], len(neck.open_midi)
    for low, high in combinations(range(count), 2):
        fret = melody.midi - neck.open_midi[high]
        for root in range(neck.last_fret + 1):
            below = fret + neck.open_midi[high] - neck.open_midi[low] - root
            if (
                below <= 0
                or (neck.open_midi[low] + root - chord.root.pitch_class) % 12
                or not 0 <= fret <= neck.last_fret
            ):
                continue
            frets = tuple({low: root, high: fret}.get(spot) for spot in range(count))
            if neck.stretch_mm(frets) <= neck.reach_mm:
                found.append(((0 in frets, low > 2, high < count - 2, abs(fret - root), max(fret, root)), frets))
    return neck.fingered(min(found, key=itemgetter(0))[1]) if found else None


def _opening(today: Lesson) -> list[Choice]:
    """The first notes of the lesson's bars that carry their own chord."""
    return in_chord(today)[:SHELLS_SHOWN]


@section
def shells(today: Lesson) -> Row:
    """The first chord tones of the lesson's bars, each with only the root of its chord below it.

    >>> from harmonylib.lessons.lesson import lesson
    >>> all(len(grip.strings) == 2 for grip in shells(lesson(3)).grips)
    True
    """
    shown = _opening(today)
    words = [f"{c.note.pitch.name} is {c.tested.degree} of {c.chord}" for c in shown]
    steps = [(None, shell_grip(today.neck, c.note.pitch, c.chord)) for c in shown if c.chord]
    empty = "no hand of this reach gets to a root under these notes"
    how = {"title": "Melody and root", "empty": empty, "remarks": today.remarks(*ON_A_TUNE)}
    return row(today.neck, steps, captions=words, **how)


@section
def filled(today: Lesson) -> Row:
    """The same notes with the middle filled in."""
    shown = _opening(today)
    return as_row(today, shown, "Filled", [f"{choice.tested.degree} on top" for choice in shown])


@section
def shell_then_chord(today: Lesson) -> Row:
    """Each shell and the chord that grows out of it."""
    pairs = []
    for choice in _opening(today):
        low = shell_grip(today.neck, choice.note.pitch, choice.chord) if choice.chord else None
        pairs += [(None, low), (choice.voicing, choice.grip)]
    return row(today.neck, pairs, title="Shell, then chord", remarks=today.remarks(*ON_A_TUNE))


@section
def on_top(chord: Chord | str) -> Table:
    """Which inversion puts a degree on top, in drop 2 and in drop 3: the list to know by heart.

    >>> on_top("Cmaj7").rows[1]
    ('3', 'root position', 'third inversion')
    """
    chord = chord_of(chord)
    by_top = {(v.spread, v.degrees[-1]): v.inversion for name in ("drop 2", "drop 3") for v in inversions(chord, name)}
    rows = ((degree, by_top["drop 2", degree], by_top["drop 3", degree]) for degree in chord.stacks[0])
    return table("on top | in drop 2 | in drop 3", rows)


@section
def homes(today: Lesson) -> Row:
    """The places where the first chord tone of the lesson's bars can stand on top of its chord."""
    spot = in_chord(today)[0]
    assert spot.chord is not None
    assert spot.voicing is not None
    top = spot.voicing.chord.name_of(spot.voicing.degrees[-1]).at(spot.note.pitch.midi)
    voicings = [voice(spot.chord, name, top, spot.voicing.stack) for name in SPREADS if name != "close"]
    steps = [(voicing, grip) for voicing in voicings for grip in today.neck.grips(voicing)][:4]
    return row(today.neck, steps, title=f"{spot.note.pitch.name} over {spot.chord}", remarks=today.remarks(*ON_A_TUNE))


@section
def triad_fills(today: Lesson) -> Table:
    """What is added to a triad in the tune's key, by the degree that the melody holds."""
    tonic, signature = today.music.tune.tonic, today.music.tune.key_at(today.music.tune.notes[0].onset)
    places = (("I", tonic, ""), ("IV", tonic.up(3, 5), ""), ("V", tonic.up(4, 7), ""), ("ii", tonic.up(1, 2), "m"))
    rows = []
    for numeral, root, kind in places:
        triad = Chord(root.simplest(), kind)
        fills = [" or ".join(s[-1] for s in triad.stacks_for(d, signature)) for d in triad.degrees]
        rows.append((numeral, triad, *fills))
    return table("step | triad | root on top | third on top | fifth on top", rows, remarks=today.remarks(*ON_A_TUNE))


@section
def root_on_top(today: Lesson) -> Row:
    """The tonic of the tune on top of its major seventh and of its sixth: thirteen semitones, and nine or so."""
    home = today.music.tune.tonic.simplest()
    tops = [voice(f"{home}{family}", "drop 2", home.at(60 + home.pitch_class)) for family in ("maj7", "6")]
    ground = [(voicing, next(iter(today.neck.grips(voicing)), None)) for voicing in tops]
    spans = [f"spans {voicing.top.midi - voicing.pitches[0].midi} semitones" for voicing in tops]
    return row(today.neck, ground, captions=spans, title=f"{home} on top", remarks=today.remarks(*ON_A_TUNE))


@section
def triads(today: Lesson) -> Said:
    """How many notes of the tune stand over a triad."""
    found = [choice for choice in today.music.choices if choice.chord and choice.chord.is_triad]
    names = ", ".join(sorted({str(choice.chord) for choice in found}))
    total = many(len(today.music.choices), "note")
    return Said(f"{len(found)} of {total} over a triad: {names}" if found else f"{total}, none of them over a triad")


@section
def ninth_or_not(today: Lesson) -> Table:
    """The ninth over the dominant of the tune's key, with the symbol as a seventh and as a ninth."""
    five = today.music.tune.tonic.up(4, 7).simplest()
    ninth = five.up(1, 2).at(60 + five.up(1, 2).pitch_class)
    symbols = (Chord(five, "7"), Chord(five, "7", ("9",)))
    rows = ((ninth.name, chord, degree_of(ninth, chord) or "foreign") for chord in symbols)
    return table("note | over | is", rows)


@section
def tall_dominants(today: Lesson) -> Table:
    """Forms of the dominant of the tune's key, from plain to full: the four notes kept."""
    five = today.music.tune.tonic.up(4, 7).simplest()
    tall = [chord_of(f"{five}{ending}") for ending in ("7", "9", "7(♭9)", "13", "7(♯11)")]
    rows = ((each, joined(each.stacks[0]), joined(each.stacks[-1])) for each in tall)
    return table("chord | plain | full", rows)


@section
def known_already(today: Lesson) -> Table:
    """Two ninth chords without their root, and the chords you know that they are."""
    five = today.music.tune.tonic.up(4, 7).simplest()
    rows = []
    for symbol, kind in (("9", "m7♭5"), ("maj9", "m7")):
        full = chord_of(f"{five}{symbol}")
        same = Chord(full.name_of("3").simplest(), kind)
        rows.append((full, joined(map(full.name_of, full.stacks[-1])), same))
    return table("chord | without its root | is", rows)


@section
def eight_ways() -> Picture:
    """A little line in which every kind of foreign note occurs."""
    return melody_picture(read_text(EIGHT_WAYS))


@section
def roles(today: Lesson) -> Table:
    """How often a foreign note of the tune does what; those that occur."""
    found = Counter(choice.tested.role for choice in today.music.choices if choice.tested.role)
    if not found:
        raise HarmonyError(f"no note of {today.tune.title} is foreign to its chord")
    rows = ((role, found[role], meaning) for role, meaning in ROLES.items() if found[role])
    return table("role | notes | what it does", rows, ["what it does"], today.remarks(*ON_A_TUNE))


@section
def where_foreign(today: Lesson, most: int = 6) -> Table:
    """The first foreign notes of the tune, and what each does."""
    found = [choice for choice in today.music.choices if choice.tested.role][:most]
    if not found:
        raise HarmonyError(f"no note of {today.tune.title} is foreign to its chord")
    rows = ((place(today.music, c), c.note.pitch.name, c.chord, c.tested.role) for c in found)
    return table("bar.beat | note | over | role", rows, remarks=today.remarks(*ON_A_TUNE))


@section
def character(today: Lesson) -> Table:
    """How often the melody stands on which degree."""
    found = Counter(choice.tested.degree for choice in today.music.choices if choice.tested.degree)
    if not found:
        raise HarmonyError(f"no note of {today.tune.title} is in its chord")
    return table("degree | notes", found.most_common(6), remarks=today.remarks(*ON_A_TUNE))


@section
def slash_example(neck: Neck | None = None) -> Table:
    """A bass after the slash, and a bar without a chord: what is kept, and what is said."""
    made = arrange(read_text(AFTER_THE_SLASH), neck=neck, density="every")
    return table("chord | what is played", ((c.chord or "N.C.", c.reason) for c in made.choices), ["what is played"])


@section
def slashes(today: Lesson) -> Said:
    """The slash chords of the tune, and how many notes stand without a chord."""
    found = [str(change.chord) for change in today.tune.changes if change.chord and change.chord.bass]
    alone = sum(choice.chord is None for choice in today.music.choices)
    named = f"slash chords: {', '.join(found)}" if found else "there are no slash chords in this tune"
    return Said(f"{named}; {many(alone, 'note') if alone else 'no note'} without a chord")


@section
def passed(today: Lesson, most: int = 6) -> Row:
    """The first notes of the tune that a diminished seventh carries, each in one grip once."""
    once: dict[object, Choice] = {}
    for choice in carried(today, today.music.choices):
        if choice.diminished:
            once.setdefault((choice.note.pitch.name, choice.chord, choice.grip), choice)
    found = list(once.values())[:most]
    words: Sequence[str] = [f"{c.note.pitch.name} over {c.chord}" for c in found]
    if not found:
        raise HarmonyError(f"no note of {today.tune.title} asks for a diminished seventh here")
    return as_row(today, found, "Foreign notes of the tune", words)


@section
def jobs_done(today: Lesson) -> Table:
    """How often each of the three diminished sevenths does its job in the tune."""
    found = Counter(choice.diminished.action for choice in today.music.choices if choice.diminished)
    if not found:
        raise HarmonyError(f"no note of {today.tune.title} asks for a diminished seventh here")
    return table("which | notes", found.most_common(), remarks=today.remarks(*ON_A_TUNE))
