"""The material of a tune: what a student must already know to meet it.

**Theory.**  Order comes first from material, then from measures.  A tune is *ready* when it
brings at most one topic that is new.  Everything a tune can bring stands on one ladder, whose
order is the published one of B. Crowell's anthology Eyes and Ears (2004-2017): steps, the leaps
by function, the degrees of minor and the modes, then notes off the key, #4 first, then b7, b3, b6
and b2, then a change of key.  (The order of the notes off the key is also that of how many folk
tunes in major use them: #4 11.6 %, b7 5.4, b3 3.5, b6 2.5, b2 1.8 of the tunes in the Essen
collection.)  Where range and rhythm stand on it is our choice: both books followed rhythm far less
than pitch.

**Leaps.**  A leap is learned by its role in the key sooner than by its size: the fifth from 1
to 5 is easy, the same fifth from 2 to 6 is not.  So every leap gets the easiest account that fits
it, in the order in which the anthology brings them: to the tonic, back to a note just heard, inside
the tonic triad (third, fourth or octave; fifth; sixth), inside the dominant (thirds; wider),
between tonic and dominant, inside the subdominant, sevenths, and the rest.  Only the order is taken
from there; the exact limits below are ours.  Chords by degree number, each note in the key in force
at it: tonic 1 3 5, dominant 5 7 2 4 (with its seventh), subdominant 4 6 1.  In minor, 6 and 7
belong to the key in both their forms.  A leap is anything wider than a whole tone.

**Conventions.**  A *topic* has a name a teacher reads and a rung, 0 for the first.  Ranges and
the like are cumulative: a tune over a tenth also brings the range over an octave.  A tune with
more in it never has less material: adding notes to the end only adds topics.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from fretpath.errors import RequestError
from fretpath.music.key import SCALES, Degree, Key
from fretpath.music.melody import Melody
from fretpath.music.pitch import Pitch
from fretpath.values import Value

LEAPS = (
    "leap to 1",
    "leap back to a note just heard",
    "3rd, 4th or 8ve in the tonic triad",
    "5th in the tonic triad",
    "6th in the tonic triad",
    "3rd in the dominant",
    "wider leap in the dominant",
    "leap between tonic and dominant",
    "leap in the subdominant",
    "leap of a 7th",
    "leap outside the main chords",
    "augmented 2nd",
    "leap with a note off the key",
)
"""Kinds of leap, from easy to hard for the ear."""

DEPARTURES = ("#4", "b7", "b3", "b6", "b2")
"""Notes off the key by name, in the order in which they are taught."""

_RANGES = {7: "a 5th", 9: "a 6th", 12: "an octave", 16: "a 10th", 19: "a 12th"}
"""Semitones a tune must exceed for each name (our choice)."""

LADDER: tuple[tuple[str, ...], ...] = (
    tuple(f"degree {degree}" for degree in SCALES["major"].names),
    ("half beats", "rests", "pickup", f"range over {_RANGES[7]}", LEAPS[0]),
    (f"range over {_RANGES[9]}", LEAPS[1]),
    (LEAPS[2], "dotted lengths", "three in a bar"),
    (LEAPS[3], f"range over {_RANGES[12]}"),
    (LEAPS[4], "ties over the bar line", "two or more pulses of three"),
    (LEAPS[5], "quarter beats"),
    (LEAPS[6], "off-beat notes held through a beat"),
    ("degree b3", "degree b7", "degree b6", "degree #4", "degree b2", "degree b5", "degree #5"),
    (LEAPS[7], f"range over {_RANGES[16]}", "thirds of a beat", "another meter"),
    (LEAPS[8], "five or more beats in a bar"),
    (LEAPS[9], f"range over {_RANGES[19]}"),
    (LEAPS[10],),
    (LEAPS[11],),
    *((f"{degree} off the key",) for degree in DEPARTURES),
    ("another note off the key", LEAPS[12]),
    ("a change of key",),
)
"""Everything a tune can bring, rung by rung."""

RUNGS = {name: rung for rung, names in enumerate(LADDER) for name in names}
"""Rung of each topic by name."""


@dataclass(frozen=True, slots=True, order=True)
class Topic(Value):
    """One topic a tune brings."""

    rung: int
    """Where it stands on the ladder, 0 is first."""
    name: str
    """Its name for a reader."""

    def __str__(self) -> str:
        return self.name

    @staticmethod
    @cache
    def parse(name: str) -> Topic:
        """The topic of that name; :class:`RequestError` when the ladder has none."""
        if name not in RUNGS:
            raise RequestError(f'"{name[:40]}" is not on the ladder')
        return Topic(RUNGS[name], name)


def material_of(melody: Melody) -> frozenset[Topic]:
    """Everything the tune brings; the melody has a key.

    >>> from fretpath.music.notation import parse_melody
    >>> [str(topic) for topic in sorted(material_of(parse_melody("1 2 (3 #4):1/2 5")))][-2:]
    ['half beats', '#4 off the key']
    """
    names = {*_degrees(melody), *leaps_of(melody), *_ranges(melody), *_rhythm(melody)}
    if len({key for _, key in melody.keys}) > 1:
        names.add("a change of key")
    return frozenset(Topic.parse(name) for name in names)


def degree_names(material: Iterable[Topic]) -> list[str]:
    """The degrees among the topics, in order of the ladder: ``["1", "2", "#4"]``."""
    return [
        topic.name.removeprefix("degree ").removesuffix(" off the key")
        for topic in sorted(material)
        if topic.name.startswith("degree ") or topic.name[:2] in DEPARTURES
    ]


# -- notes and leaps in the key --------------------------------------------------------------------

_TONIC, _DOMINANT, _SUBDOMINANT = {1, 3, 5}, {5, 7, 2, 4}, {4, 6, 1}
_BOTH_FORMS = frozenset({"b6", "6", "b7", "7"})
_MINOR = frozenset({"natural minor", "harmonic minor", "melodic minor"})
_JUST_HEARD = 4
"""How many notes back a note still counts as just heard (our choice)."""


def numbers_in_key(melody: Melody) -> list[int | None]:
    """The number of the degree of each struck note, 1 to 7; None for a note off the key."""
    notes = zip(melody.struck, melody.degrees, strict=True)
    return [d.number if d and belongs(melody.key_at(event), d) else None for event, d in notes]


def belongs(key: Key | None, degree: Degree) -> bool:
    """Whether the key holds the degree; in minor, 6 and 7 are at home raised and not.

    >>> belongs(Key.parse("A minor"), Degree.parse("7")), belongs(Key.parse("A"), Degree(6, -1))
    (True, False)
    """
    if key is None:
        return False
    return key.holds(degree) or (key.mode in _MINOR and degree.plain in _BOTH_FORMS)


def _leaps(melody: Melody) -> list[tuple[int, int]]:
    """The moves from struck note to struck note, from 0, that are leaps."""
    pitches = melody.pitches
    return [(a, b) for a, b in melody.moves if abs((pitches[b] - pitches[a]).semitones) > 2]


def leaps_off_triad(melody: Melody) -> float:
    """Share of the leaps with a note outside the tonic triad; 0 without a leap."""
    numbers = numbers_in_key(melody)
    inside = [{numbers[a], numbers[b]} <= _TONIC for a, b in _leaps(melody)]
    return inside.count(False) / len(inside) if inside else 0.0


def leaps_of(melody: Melody) -> list[str]:
    """The kind of each leap, in order of the tune; see :data:`LEAPS`.

    >>> from fretpath.music.notation import parse_melody
    >>> leaps_of(parse_melody("1 5 4 1 2 6"))
    ['5th in the tonic triad', 'leap to 1', 'leap outside the main chords']
    """
    numbers, pitches = numbers_in_key(melody), melody.pitches
    return [_leap_kind(numbers, pitches, *leap) for leap in _leaps(melody)]


def _leap_kind(
    numbers: Sequence[int | None], pitches: Sequence[Pitch], before: int, note: int
) -> str:
    """The easiest account of the leap from one note to another."""
    ends = {numbers[before], numbers[note]}
    size = abs((pitches[note] - pitches[before]).steps) + 1
    if None in ends:
        return "leap with a note off the key"
    if size == 2:
        return "augmented 2nd"
    if numbers[note] == 1 and size in (3, 4, 5, 6, 8):
        return "leap to 1"
    if pitches[note] in pitches[max(0, before - _JUST_HEARD) : before]:
        return "leap back to a note just heard"
    return _leap_by_chord(ends, size)


def _leap_by_chord(ends: set[int | None], size: int) -> str:
    if ends <= _TONIC:
        if size in (3, 4, 8):
            return "3rd, 4th or 8ve in the tonic triad"
        if size in (5, 6):
            return f"{size}th in the tonic triad"
    if size == 7:
        return "leap of a 7th"
    if size > 8:
        return "leap outside the main chords"
    if ends <= _DOMINANT:
        return "3rd in the dominant" if size == 3 else "wider leap in the dominant"
    if ends & {7, 2} and ends & {1, 3}:
        return "leap between tonic and dominant"
    return "leap in the subdominant" if ends <= _SUBDOMINANT else "leap outside the main chords"


# -- the rest of what a tune asks for --------------------------------------------------------------


def _degrees(melody: Melody) -> Iterator[str]:
    for event, degree in zip(melody.struck, melody.degrees, strict=True):
        if degree is None:
            continue
        name = f"degree {degree.plain}"
        if belongs(melody.key_at(event), degree) and name in RUNGS:
            yield name
        elif degree.plain in DEPARTURES:
            yield f"{degree.plain} off the key"
        else:
            yield "another note off the key"


def _ranges(melody: Melody) -> list[str]:
    sounds = [pitch.midi for pitch in melody.pitches]
    semitones = max(sounds) - min(sounds)
    return [f"range over {name}" for limit, name in _RANGES.items() if semitones > limit]


def _rhythm(melody: Melody) -> Iterator[str]:
    yield from _meters(melody)
    if any(note.pitch is None for note in melody.notes):
        yield "rests"
    if melody.has_pickup:
        yield "pickup"
    bars = set(melody.bars)
    if any(note.tied and note.pitch and i in bars for i, note in enumerate(melody.notes)):
        yield "ties over the bar line"
    yield from _lengths(melody)


def _lengths(melody: Melody) -> Iterator[str]:
    for note in melody.notes:
        parts = note.beats.denominator
        if parts % 3 == 0:
            yield "thirds of a beat"
        elif note.beats.numerator == 3 and parts > 1:
            yield "dotted lengths"
        elif parts == 2:
            yield "half beats"
        elif parts > 2:
            yield "quarter beats"
    first_beat = melody.onsets[melody.bars[0]] if melody.has_pickup else 0
    for event, length in zip(melody.struck, melody.lengths, strict=True):
        into_the_beat = (melody.onsets[event] - first_beat) % 1
        if into_the_beat and into_the_beat + length > 1:
            yield "off-beat notes held through a beat"


def _meters(melody: Melody) -> Iterator[str]:
    for _, meter in melody.meters:
        if meter.unit >= 8 and meter.beats % 3 == 0 and meter.beats > 3:
            yield "two or more pulses of three"
        elif meter.beats == 3:
            yield "three in a bar"
        elif meter.beats not in (2, 4):
            yield "five or more beats in a bar"
    if any(before != after for (_, before), (_, after) in pairwise(melody.meters)):
        yield "another meter"
