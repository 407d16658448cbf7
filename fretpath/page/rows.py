"""Rows: everything that can be told of a note or a moment, each in one place.

A row has one name in every command and on every page; it knows what it prints, what it says
aloud, what it is as data, and what it gives away.  Tab, spelling, sentences, JSON and blanks ask
this registry, so a row is added here and nowhere else.

**Conventions.**  A token is plain ASCII and empty where there is nothing to tell.  A row reveals
the ``degree`` of a note, its ``pitch``, its ``place`` on the neck, or nothing; a student's copy
hides kinds of these, or single notes with all that belongs to them.  A blank is always written
``__``, whatever it stands for, so that its width tells nothing.  A hidden note keeps its column
and its count: the rhythm is given.  Notes count from 0, bars from 1 (0 is a pickup).

As sentences, the first note and every shift name the position; a note says its length when it is
not one beat, and its beat where the melody has a rhythm.  As data: dicts, lists, strings and
numbers only; exact lengths are text (``"3/2"`` beats), distances are mm, notes and bars count from
1, and unknown is None.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from functools import cached_property
from operator import itemgetter
from typing import Any, Literal

from fretpath.errors import RequestError, nearest
from fretpath.music.key import Degree, Key
from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval, Pitch
from fretpath.music.spelling import syllable
from fretpath.neck.arrangement import Arrangement, position_sign, position_words
from fretpath.neck.hand import Fingering
from fretpath.neck.instrument import Instrument
from fretpath.page.aloud import (
    beat_words,
    count_marks,
    degree_words,
    finger_words,
    interval_words,
    join_marks,
    length_words,
    name_words,
    string_words,
    with_capitals,
)
from fretpath.values import Value, to_dict

# -- what is hidden --------------------------------------------------------------------------------

Kind = Literal["", "degree", "pitch", "place"]
"""The side of a note that a row reveals; empty for none."""

BLANK = "__"
_KINDS: dict[str, Kind] = {"degrees": "degree", "notes": "pitch", "tab": "place"}
HIDES = (*_KINDS, "every-2nd", "every-3rd", "every-4th", "all-but-first")
"""Names of all that can be hidden."""


@dataclass(frozen=True, slots=True)
class Blanks(Value):
    """The rows and notes that are hidden.

    >>> [Blanks.parse("every-2nd,every-3rd").hides_note(n) for n in range(6)]
    [False, True, True, True, False, True]
    """

    kinds: frozenset[Kind] = frozenset()
    """Of every note: its ``degree``, its ``pitch`` (with its interval), its ``place``."""
    every: tuple[int, ...] = ()
    """Every so many notes one is hidden, for each number."""
    all_but_first: bool = False
    """Whether only the first note is shown."""

    @classmethod
    def parse(cls, text: str) -> Blanks:
        """Read names from :data:`HIDES` with commas between them; RequestError otherwise."""
        words = [word.strip() for word in text.split(",") if word.strip()]
        for word in words:
            if word not in HIDES:
                raise RequestError(
                    f'cannot hide "{word[:40]}"{nearest(word, HIDES)} (known: {", ".join(HIDES)})'
                )
        every = [int(match[1]) for w in words if (match := re.fullmatch(r"every-(\d)\w\w", w))]
        kinds = frozenset(_KINDS[word] for word in words if word in _KINDS)
        return cls(kinds, tuple(sorted(set(every))), "all-but-first" in words)

    @property
    def any(self) -> bool:
        """Whether anything is hidden."""
        return self != NOTHING_HIDDEN

    @property
    def some_notes(self) -> bool:
        """Whether single notes are hidden with all that belongs to them."""
        return bool(self.every) or self.all_but_first

    def hides_note(self, note: int) -> bool:
        """Whether a struck note (from 0) is hidden as a whole."""
        if self.all_but_first and note > 0:
            return True
        return any(note % count == count - 1 for count in self.every)

    def hides(self, kind: Kind, note: int) -> bool:
        """Whether what a row reveals of a struck note (from 0) is hidden."""
        return bool(kind) and (kind in self.kinds or self.hides_note(note))


NOTHING_HIDDEN = Blanks()
EVERYTHING = Blanks(frozenset(_KINDS.values()))
"""A copy to be filled in by ear: no degree, no pitch and no place is shown."""


# -- the tune and its rows -------------------------------------------------------------------------

_LONGEST_WORDS = 20
"""Characters of a chord or a syllable of the lyrics."""


@dataclass(frozen=True)
class Subject:
    """A tune as the rows see it: what is told, and how."""

    tune: Melody | Arrangement
    """The music alone, or with the places where it is played."""
    degrees: str = "major"
    """Degrees count against the ``major`` scale or the ``key`` signature."""
    simple: bool = False
    """Whether a ninth is printed ``2'``."""
    minor: str = "do"
    """The syllable of a minor tonic, ``do`` or ``la``."""
    hide: Blanks = NOTHING_HIDDEN
    """Rows and notes left blank."""

    @cached_property
    def melody(self) -> Melody:
        """The music."""
        return self.tune.melody if isinstance(self.tune, Arrangement) else self.tune

    @cached_property
    def arrangement(self) -> Arrangement | None:
        """The places; None where only the music is told."""
        return self.tune if isinstance(self.tune, Arrangement) else None

    @cached_property
    def number(self) -> dict[int, int]:
        """Event to number of the struck note, from 0."""
        return {event: note for note, event in enumerate(self.melody.struck)}

    @cached_property
    def labels(self) -> tuple[str, ...]:
        """The degree of each struck note as text."""
        return degree_labels(self.melody, degrees=self.degrees, simple=self.simple)

    @cached_property
    def moves(self) -> dict[int, int]:
        """Struck note to the position that the hand takes there, as far as it is shown."""
        moves: dict[int, int] = {}
        held: dict[int | None, int] = {None: 0}
        for note, position in enumerate(self.arrangement.positions if self.arrangement else ()):
            held[note] = held[self.melody.before[note]]
            if position != held[note] and not self.hide.hides("place", note):
                moves[note] = held[note] = position
        return moves

    def spot(self, event: int) -> Spot:
        """One event of the tune."""
        return Spot(self, event, self.number.get(event, -1))

    def token(self, row: Row, event: int) -> str:
        """The words of a row at an event, blank where it is hidden."""
        spot = self.spot(event)
        if row.of_notes and spot.note < 0:
            return ""
        token = row.token(spot)
        return BLANK if token and row.is_hidden(spot) else token

    def fills(self, row: Row) -> bool:
        """Whether a row has anything to tell of this tune."""
        return any(row.token(self.spot(event)) for event in self.events(row))

    def events(self, row: Row) -> Iterable[int]:
        """The events that a row tells of."""
        return self.melody.struck if row.of_notes else range(len(self.melody))


@dataclass(frozen=True, slots=True)
class Spot:
    """One event of a tune."""

    subject: Subject
    """The tune."""
    event: int
    """Index of the event."""
    note: int
    """Number of the note struck there, from 0; -1 for a rest or a note held over."""

    @property
    def melody(self) -> Melody:
        """The tune."""
        return self.subject.melody

    @property
    def pitch(self) -> Pitch:
        """The pitch that sounds."""
        return self.melody.pitches[self.note]

    @property
    def degree(self) -> Degree | None:
        """The degree against the major scale; None without a key."""
        return self.melody.degrees[self.note]

    @property
    def interval(self) -> Interval | None:
        """From the note before, as it first sounds; None for the first."""
        before = self.melody.before[self.note]
        return None if before is None else self.pitch - self.melody.pitches[before]

    @property
    def fingering(self) -> Fingering | None:
        """How it is played; None where no instrument is told."""
        arrangement = self.subject.arrangement
        return arrangement.fingerings[self.note] if arrangement else None


Teller = Callable[[Spot], str]


def _silent(spot: Spot) -> str:
    return ""


@dataclass(frozen=True, slots=True)
class Row:
    """One thing to tell of every note, or of every event."""

    name: str
    """Its name everywhere."""
    token: Teller
    """Its words in a column; empty for nothing."""
    reveals: Kind = ""
    """The side of a note that it gives away."""
    of_notes: bool = True
    """Whether it tells of struck notes only, or of rests and holds too."""
    above: bool = False
    """Whether it stands above the strings."""
    usual: bool = True
    """Whether pages show it unasked."""
    label: str = ""
    """Words in front of it where those are not its name."""
    words: Teller = _silent
    """Its words when said aloud; empty for nothing."""
    datum: Callable[[Spot], Any] | None = None
    """Its plain data, where that is not its token."""
    of_pairs: bool = False
    """Whether it also tells of the note before, so that it is hidden with it."""

    def is_hidden(self, spot: Spot) -> bool:
        """Whether the blanks of the tune hide it there."""
        hide, note = spot.subject.hide, spot.note
        if note < 0:
            return self.reveals in hide.kinds
        before = spot.melody.before[note] if self.of_pairs else None
        return hide.hides(self.reveals, note) or (before is not None and hide.hides_note(before))

    def data(self, spot: Spot) -> Any:
        """The row as data: the datum or the token, None where there is nothing."""
        found = self.datum(spot) if self.datum else self.token(spot)
        return None if found == "" else found


def degree_labels(
    melody: Melody, *, degrees: str = "major", simple: bool = False
) -> tuple[str, ...]:
    """The degree of each struck note as text; empty strings when no key is known."""
    if degrees not in ("major", "key"):
        raise RequestError(f'degrees count against "major" or "key", not "{degrees[:40]}"')
    return tuple(
        _degree_label(degree, melody.key_at(event) if degrees == "key" else None, simple)
        for degree, event in zip(melody.degrees, melody.struck, strict=True)
    )


def _degree_label(degree: Degree | None, key: Key | None, simple: bool) -> str:
    if degree is None:
        return ""
    if key:
        degree = Degree(degree.steps, degree.alter - key.signature_alters[degree.number - 1])
    return degree.simple if simple else str(degree)


def _at(marks: Sequence[tuple[int, str]], event: int) -> str:
    """The word at an event; empty where there is none."""
    found = bisect_left(marks, event, key=itemgetter(0))
    return marks[found][1] if found < len(marks) and marks[found][0] == event else ""


def _of_event(marks: Sequence[tuple[int, str]], event: int) -> str:
    words = " ".join(_at(marks, event).split())
    return words if len(words) <= _LONGEST_WORDS else f"{words[: _LONGEST_WORDS - 2]}.."


def _bar(spot: Spot) -> str:
    bars, event = spot.melody.bars, spot.event
    first = bool(bars) and (event == 0 or bars[bisect_right(bars, event) - 1] == event)
    return str(spot.melody.bar_numbers[spot.event]) if first else ""


def _bar_words(spot: Spot) -> str:
    number = _bar(spot)
    return number and ("pickup" if number == "0" else f"bar {number}")


def _ending(spot: Spot) -> str:
    """``1.`` where the first ending begins; ``3 times`` where a repeat is played so often."""
    for repeat in spot.melody.repeats:
        if spot.event in repeat.endings:
            return f"{repeat.endings.index(spot.event) + 1}."
        if spot.event == repeat.start and repeat.times > 2 and not repeat.endings:
            return f"{repeat.times} times"
    return ""


def _ending_words(spot: Spot) -> str:
    found = _ending(spot)
    if found.endswith("."):
        return f"ending {found[:-1]}"
    begins = any(repeat.start == spot.event for repeat in spot.melody.repeats)
    return ", ".join(["repeat from here"] * begins + [f"played {found}"] * bool(found))


def _backs(melody: Melody) -> dict[int, str]:
    """The words behind each event where the tune goes back."""
    back = "go back to where the repeat begins"
    found: dict[int, str] = {}
    for repeat in melody.repeats:
        later = enumerate(repeat.endings[1:], start=2)
        found |= {stop - 1: f"{back}, then ending {number}" for number, stop in later}
        found |= {} if repeat.endings else {repeat.stop - 1: back}
    return found


def _chord_words(spot: Spot) -> str:
    name = _at(spot.melody.chords, spot.event)
    named = re.sub(r"[A-G](#+|b+)", lambda root: f"{name_words(root[0])} ", name)
    return f"chord {named.strip()}" if name else ""


def _lyric_words(spot: Spot) -> str:
    syllable = _at(spot.melody.lyrics, spot.event)
    return f"sung {syllable.rstrip('-')}" if syllable else ""


def _position(spot: Spot, tell: Callable[[Instrument, int], str] = position_sign) -> str:
    arrangement, position = spot.subject.arrangement, spot.subject.moves.get(spot.note)
    return tell(arrangement.instrument, position) if arrangement and position else ""


def _count(spot: Spot) -> str:
    return join_marks(count_marks(spot.melody, spot.event)) if spot.melody.has_rhythm else ""


def _count_words(spot: Spot) -> str:
    return beat_words(spot.melody, spot.event) if spot.melody.has_rhythm else ""


def _fret(spot: Spot) -> str:
    return str(spot.fingering.fret) if spot.fingering else ""


def _fret_words(spot: Spot) -> str:
    arrangement, place = spot.subject.arrangement, spot.fingering
    if arrangement is None or place is None:
        return ""
    string = f"string {string_words(arrangement.instrument, place.string)}"
    if not place.finger:
        return f"{string}, {f'fret {place.fret}' if place.fret else 'open'}"
    return f"{string}, fret {place.fret}, {finger_words(place.finger)}"


def _degree(spot: Spot) -> str:
    return spot.subject.labels[spot.note]


def _degree_words(spot: Spot) -> str:
    label = _degree(spot)
    return f"degree {degree_words(label)}" if label else ""


def _from_tonic(spot: Spot) -> str:
    """``M10`` above the tonic, ``-P4`` below it."""
    if spot.degree is None:
        return ""
    interval = spot.degree.interval
    return f"-{interval.name}" if interval.descending else interval.name


def _syllable(spot: Spot) -> str:
    key = spot.melody.key_at(spot.event)
    degree = spot.degree
    return syllable(degree, key, minor=spot.subject.minor) if degree and key else ""


def _note(spot: Spot) -> str:
    free = spot.subject.arrangement is None and spot.melody.octave_free
    return spot.pitch.name if free else str(spot.pitch)


ALL_ROWS = (
    Row("bar", _bar, of_notes=False, above=True, words=_bar_words,
        datum=lambda spot: spot.melody.bar_numbers[spot.event]),
    Row("ending", _ending, of_notes=False, above=True, words=_ending_words),
    Row("position", _position, "place", above=True,
        words=lambda spot: _position(spot, position_words),
        datum=lambda spot: spot.fingering and spot.fingering.position),
    Row("chord", lambda spot: _of_event(spot.melody.chords, spot.event), "pitch",
        of_notes=False, above=True, words=_chord_words),
    Row("count", _count, of_notes=False, words=_count_words),
    Row("fret", _fret, "place", words=_fret_words,
        datum=lambda spot: spot.fingering and spot.fingering.fret),
    Row("degree", _degree, "degree", words=_degree_words),
    Row("tonic", _from_tonic, "degree", label="from 1"),
    Row("interval", lambda spot: "" if spot.interval is None else str(spot.interval), "pitch",
        words=lambda spot: "" if spot.interval is None else interval_words(spot.interval),
        of_pairs=True),
    Row("syllable", _syllable, "degree", usual=False),
    Row("note", _note, "pitch"),
    Row("finger", lambda spot: str(spot.fingering.finger) if spot.fingering else "", "place",
        datum=lambda spot: spot.fingering and spot.fingering.finger),
    Row("lyric", lambda spot: _of_event(spot.melody.lyrics, spot.event), of_notes=False,
        words=_lyric_words),
)  # fmt: skip
"""Every row, in its order on the page."""


def rows_named(names: Iterable[str], known: Iterable[str]) -> tuple[Row, ...]:
    """The rows of those names in the order of the page; RequestError for one not *known*."""
    asked, known = list(names), list(known)
    for name in asked:
        if name not in known:
            raise RequestError(
                f'unknown row "{name[:40]}"{nearest(name, known)} (known: {", ".join(known)})'
            )
    return tuple(row for row in ALL_ROWS if row.name in asked)


# -- as sentences, and as data ---------------------------------------------------------------------


def render_spoken(
    arrangement: Arrangement, *, degrees: str = "major", hide: Blanks = NOTHING_HIDDEN
) -> str:
    """One line a note, ``string A, fret 3, first finger, degree 1, down a fourth``.

    A repeat says where it begins and, on a line of its own, where it goes back.
    *degrees* counts against the ``major`` scale or the ``key`` signature; what *hide* hides is
    left out.  Ends with a newline.
    """
    melody = arrangement.melody
    lines = [melody.title] if melody.title else []
    if melody.key and "pitch" not in hide.kinds:
        lines.append(f"key {name_words(with_capitals(str(melody.key)))}")
    subject, backs = Subject(arrangement, degrees, hide=hide), _backs(melody)
    for event, note in enumerate(melody.notes):
        spot = subject.spot(event)
        if bar := _bar_words(spot):
            lines.append(bar)
        if not (note.tied and note.pitch is not None):
            lines.append(", ".join(word for word in _words(spot) if word))
        if event in backs:
            lines.append(backs[event])
    return "\n".join(lines) + "\n"


def _words(spot: Spot) -> Iterator[str]:
    around = (row for row in ALL_ROWS[1:] if not row.of_notes and not row.is_hidden(spot))
    yield from (row.words(spot) for row in around)
    if spot.note < 0:
        yield "rest"
        yield length_words(spot.melody.notes[spot.event].beats)
        return
    hide = spot.subject.hide
    if hide.hides_note(spot.note) or {"degree", "pitch", "place"} <= hide.kinds:
        yield "a note for you to find"
    yield from (row.words(spot) for row in ALL_ROWS if row.of_notes and not row.is_hidden(spot))
    yield length_words(spot.melody.lengths[spot.note])


def arrangement_data(arrangement: Arrangement, *, degrees: str = "major") -> dict[str, Any]:
    """An arrangement as its own plain data (``from_dict`` reads it back) and what the page shows.

    Lengths are beats as text (``"3/2"``), distances mm, ``bar`` counts from 1 (0 is a pickup).
    """
    melody, instrument = arrangement.melody, arrangement.instrument
    return {
        **to_dict(arrangement),
        "title": melody.title,
        "key": str(melody.key) if melody.key else None,
        "tonic": str(melody.tonic) if melody.tonic else None,
        "instrument": instrument.name,
        "tuning": instrument.tuning.split(),
        "scale_length_mm": instrument.scale_length,
        "capo": instrument.capo,
        "hand": arrangement.hand.name,
        "degrees_against": degrees,
        "notes": notes_data(Subject(arrangement, degrees)),
        "figures": asdict(arrangement.figures),
    }


def notes_data(subject: Subject) -> list[dict[str, Any]]:
    """Every struck note with its rows by name (:data:`ALL_ROWS`)."""
    return [_note_data(subject.spot(event)) for event in subject.melody.struck]


def _note_data(spot: Spot) -> dict[str, Any]:
    place = {"string": spot.fingering.string} if spot.fingering else {}
    return {
        "onset": str(spot.melody.onsets[spot.event]),
        "length": str(spot.melody.lengths[spot.note]),
        "midi": spot.pitch.midi,
        **place,
        **{row.name: row.data(spot) for row in ALL_ROWS},
    }
