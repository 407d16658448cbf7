"""One voice of a score file, as every reader puts it down: sounds, and the signs between them.

**Conventions.**  A voice is one sound at a time, without gaps; a sign stands before the sound whose
index it has.  Lengths are in quarter notes.  A sign of the road written inside a bar (*fine*, *da
capo*) takes effect where the bar ends.  What has no place in a melody is counted and told.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter, deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from operator import itemgetter
from typing import Any, Literal, TypeVar

from fretpath.errors import RequestError
from fretpath.music.key import MODES, SCALES, Key, Scale
from fretpath.music.melody import Placement
from fretpath.music.pitch import Pitch
from fretpath.music.words import counted
from fretpath.remarks import Remark

SignKind = Literal[
    "bar", "key", "meter", "tempo", "phrase", "chord", "start", "stop", "ending", "ending stop",
    "segno", "coda", "to coda", "fine", "da capo", "dal segno",
]  # fmt: skip
_FLATTEST, _NAMES = -15, 35  # Fbb on the line of fifths, and 35 names up to B##
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign of a score between two sounds."""

    at: int
    """Index of the sound it stands before."""
    kind: SignKind
    """What it is; ``start`` and ``stop`` are the signs of a repeat."""
    value: Any = None
    """A Key, a Meter, a tempo in quarter notes a minute, the name of a chord, how often a ``stop``
    is played in all, or the numbers of an ``ending``."""


@dataclass(frozen=True, slots=True)
class ScoreSound:
    """One note, rest or continuation."""

    length: Fraction
    """In quarter notes, above 0."""
    pitch: Pitch | None = None
    """None is a rest."""
    tied: bool = False
    """Whether the file says that it is held over from the sound before."""
    placement: Placement | None = None
    """String and fret that the file gives."""
    lyric: str = ""
    """Its syllable; one that goes on in the next ends in ``-``."""
    signed: bool = True
    """Whether its own accidental is told, and not left to the tie from the note before."""


@dataclass(frozen=True)
class Voice:
    """One voice as a file has it."""

    sounds: tuple[ScoreSound, ...]
    """In order, without gaps."""
    signs: tuple[Sign, ...] = ()
    """Bars, keys, meters, chord names and repeats, by the sound they stand before."""
    remarks: tuple[Remark, ...] = ()
    """What was chosen, rounded or left out."""
    title: str = ""
    """What the file calls the tune."""
    marks: tuple[tuple[str, str], ...] = ()
    """Names and values that no format has a word for, as ``marks_of`` writes them."""

    def at(self, kind: SignKind) -> list[tuple[int, Any]]:
        """(sound, value) of the signs of a kind, in the order of the file."""
        return [(sign.at, sign.value) for sign in self.signs if sign.kind == kind]


TimedSign = tuple[Fraction, SignKind, object]
"""When a sign comes, in quarter notes, what it is, and its value."""
Times = Sequence[Fraction]
"""Places in quarter notes, in order."""


@dataclass(kw_only=True)
class VoiceDraft:
    """One voice while it is read."""

    lowest: bool
    """Whether the lowest note of a chord is kept and not the highest."""
    sounds: list[ScoreSound] = field(default_factory=list)
    signs: list[Sign] = field(default_factory=list)
    late: list[SignKind] = field(default_factory=list)
    """Signs that take effect at the end of the bar."""
    remarks: list[Remark] = field(default_factory=list)
    gone: Counter[str] = field(default_factory=Counter)
    """What has no place in a melody, and how often it came."""

    def sign(self, kind: SignKind, value: object = None) -> None:
        """Put a sign before the next sound."""
        self.signs.append(Sign(len(self.sounds), kind, value))

    def end_bar(self) -> None:
        """Put down what takes effect here, and the bar line if there was any music."""
        for kind in self.late:
            self.sign(kind)
        self.late.clear()
        if self.sounds:
            self.sign("bar")

    def one_of(self, chord: Sequence[T], number: Callable[[T], int]) -> T:
        """The note of a chord that is kept, by its MIDI number; the others are counted."""
        pick, others = (min, "upper") if self.lowest else (max, "lower")
        self.gone[f"{others} chord note"] += len(chord) - 1
        return pick(chord, key=number)

    def lay(
        self,
        timed: Iterable[tuple[Fraction, ScoreSound]],
        signs: Iterable[TimedSign],
        cuts: Times,
        start: Fraction = Fraction(0),
    ) -> None:
        """Put down sounds by when they begin, in order, from *start* on, with rests in the gaps.

        A sound in which one of *cuts* falls becomes tied pieces.  A sign stands before the first
        sound or piece that does not begin before it.
        """
        waiting = deque(sorted(signs, key=itemgetter(0)))
        now = start
        for begin, sound in timed:
            self._put(now, ScoreSound(begin - now), waiting, cuts)
            self._put(begin, sound, waiting, cuts)
            now = begin + sound.length
        for _, kind, value in waiting:
            self.sign(kind, value)

    def _put(
        self, begin: Fraction, sound: ScoreSound, waiting: deque[TimedSign], cuts: Times
    ) -> None:
        stop = begin + sound.length
        inner = cuts[bisect_right(cuts, begin) : bisect_left(cuts, stop)]
        for now, after in pairwise((begin, *inner, stop) if stop > begin else ()):
            while waiting and waiting[0][0] <= now:
                self.sign(*waiting.popleft()[1:])
            piece = replace(sound, length=after - now)
            if now > begin:
                piece = replace(piece, tied=True, lyric="", placement=None)
            self.sounds.append(piece)

    def voice(
        self, title: str, marks: Iterable[tuple[str, str]], remarks: Iterable[Remark] = ()
    ) -> Voice:
        """The voice as it is now, with *remarks* before its own."""
        end = len(self.sounds)
        signs = (*self.signs, *(Sign(end, kind) for kind in self.late))
        told = (*remarks, *self.remarks, *_left_out(self.gone))
        return Voice(tuple(self.sounds), signs, told, title, tuple(marks))


def _left_out(gone: Counter[str]) -> list[Remark]:
    """One remark for each kind of thing that was left out, such as ``3 grace notes``."""
    return [
        Remark("left out", counted(count, what)) for what, count in sorted(gone.items()) if count
    ]


def key_of_signature(fifths: int, mode: str | None) -> Key:
    """The key with so many sharps (negative: flats); an unknown mode is read as major.

    >>> str(key_of_signature(-1, "dorian"))
    'G dorian'
    """
    try:
        scale = Scale.parse(mode or "major")
    except RequestError:
        scale = SCALES["major"]
    scale = scale if scale.name in MODES else SCALES["major"]
    least = _FLATTEST + scale.flattest + 1
    return Key.of_signature(min(max(fifths, least), least + _NAMES - 1), scale.name)


def choose_part(
    names: Sequence[str], wanted: str | None, name: str, *, usual: int = 0
) -> tuple[int, int, list[Remark]]:
    """Index of the part that is asked for, number of the voice in it (from 1), and a remark.

    *wanted* is a number from 1, a name, or number and voice as ``2.1``; without a wish the part
    at ``usual`` is taken, and said when there are others.
    """
    listed = ", ".join(f"{n} {text}".strip() for n, text in enumerate(names, start=1))[:200]
    if wanted is None:
        if len(names) == 1:
            return 0, 1, []
        return usual, 1, [Remark("guessed", f"parts: {listed}; part {usual + 1} is read (--part)")]
    number, _, voice = wanted.partition(".")
    known = number.isdecimal() and 1 <= int(number[:6]) <= len(names)
    if known and (voice.isdecimal() or not voice):
        return int(number[:6]) - 1, int(voice[:6] or 1), []
    for index, text in enumerate(names):
        if text.lower() == wanted.strip().lower():
            return index, 1, []
    raise RequestError(f'{name} has no part "{wanted[:40]}" (parts: {listed})')
