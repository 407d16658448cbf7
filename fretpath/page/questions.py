"""Questions chosen for a tune, with every right answer and its evidence; and a ladder of hints.

**Conventions.**  A question is asked only where there is something to find, two to four of them a
tune, those that say most of it first.  Places are named as in messages (``bar 2, note 3``).
Leaps count in semitones, a leap is a third or more.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, islice, pairwise

from fretpath.music.departures import ScaleReading, read_scales
from fretpath.music.melody import Melody
from fretpath.page.aloud import interval_words, length_words, with_capitals
from fretpath.page.rows import degree_labels

MOST = 3
"""Questions a tune, where so many find something."""
_MOST_ANSWERS = 3
_MOST_BARS = 100
"""Bars in which a repeated stretch is looked for."""
_LEAP = 3


@dataclass(frozen=True, slots=True)
class SheetQuestion:
    """One question and what the teacher's copy says to it."""

    text: str
    """The question."""
    answer: str
    """Every right answer."""
    evidence: str = ""
    """Why; empty where the answer says it all."""


def questions_about(
    melody: Melody, *, degrees: str = "major", most: int = MOST
) -> tuple[SheetQuestion, ...]:
    """The questions that find something in a melody, at most so many, the weightiest first.

    *degrees* counts against the ``major`` scale or the ``key`` signature.
    """
    if not melody.pitches:
        return ()
    tune = _Tune(melody, degree_labels(melody, degrees=degrees))
    found = (question for ask in _ASKED for question in ask(tune))
    return tuple(islice(found, most))


@dataclass(frozen=True)
class _Tune:
    melody: Melody
    labels: tuple[str, ...]

    def place(self, note: int) -> str:
        return self.melody.place_of(self.melody.struck[note])

    def name(self, note: int) -> str:
        """A note by its degree and name, or its name alone."""
        label, pitch = self.labels[note], self.melody.pitches[note]
        return f"{label} ({pitch})" if label else str(pitch)

    def name_and_places(self, notes: Sequence[int]) -> str:
        """Notes of one sound, with every place."""
        return f"{self.name(notes[0])}: {'; '.join(self.place(note) for note in notes)}"


def _keys(tune: _Tune) -> Iterator[SheetQuestion]:
    """Where the key changes."""
    melody = tune.melody
    for (_, before), (event, after) in pairwise(melody.keys[:2]):
        where = melody.place_of(event).partition(",")[0]
        same = before.tonic == after.tonic
        kind = "minor" if "minor" in after.mode else with_capitals(after.mode)
        asked = f"From where is it {kind}?" if same else "From where is another note home?"
        color = read_scales(melody)[1].color
        yield SheetQuestion(asked, f"{where}: {with_capitals(str(after))}", with_capitals(color))


def _outside(tune: _Tune) -> Iterator[SheetQuestion]:
    """Notes outside the scale, and what makes a mode."""
    melody = tune.melody
    readings = read_scales(melody) if melody.keys else ()
    accounts = [account for reading in readings for account in reading.accounts]
    accounts = [account for account in accounts if not account.normal]
    if accounts:
        account = accounts[0]
        one = len(account.notes) == 1
        asked = "One note is" if one else "Some notes are"
        where = "Where, and what does it do there?" if one else "Where, and what do they do there?"
        known = with_capitals(readings[0].stated.name)
        title = with_capitals(account.title)
        yield SheetQuestion(f"{asked} outside {known}. {where}", title, account.evidence)
    elif len(readings) == 1 and readings[0].color:
        kind = "minor" if "b3" in readings[0].stated.names else "major"
        yield SheetQuestion(
            f"Which degree makes it other than plain {kind}, and where does it sound?",
            with_capitals(readings[0].stated.name),
            with_capitals(readings[0].color),
        )


def _form(tune: _Tune) -> Iterator[SheetQuestion]:
    """The longest stretch of bars that comes again."""
    bars = _bars(tune.melody)
    numbers = list(bars)[:_MOST_BARS]
    for length in range(len(numbers) // 2, 0, -1):
        for first in range(len(numbers) - length):
            again = _again(bars, numbers, first, length)
            if again:
                names = [_stretch(numbers[at], length) for at in again]
                begin = _stretch(numbers[first], length)
                asked = "comes" if length == 1 else "come"
                yield SheetQuestion(f"{begin.capitalize()} {asked} again. Where?", "; ".join(names))
                return


def _bars(melody: Melody) -> dict[int, tuple[object, ...]]:
    """Bar number to what sounds in it; a pickup left out."""
    bars: dict[int, tuple[object, ...]] = {}
    for span in melody.spans(melody.bars):
        number = melody.bar_numbers[span.start]
        if melody.bars and number:
            notes = melody.notes[span.start : span.stop]
            bars[number] = tuple((note.pitch, note.beats, note.tied) for note in notes)
    return bars


def _again(
    bars: dict[int, tuple[object, ...]], numbers: list[int], first: int, length: int
) -> list[int]:
    """Where (by index) so many bars come again, without overlap; at least three notes of them."""
    here = [bars[number] for number in numbers[first : first + length]]
    if sum(map(len, here)) < 3:
        return []
    found, at = [], first + length
    while at + length <= len(numbers):
        if [bars[number] for number in numbers[at : at + length]] == here:
            found.append(at)
            at += length
        else:
            at += 1
    return found


def _stretch(bar: int, length: int) -> str:
    return f"bar {bar}" if length == 1 else f"bars {bar} to {bar + length - 1}"


def _leap(tune: _Tune) -> Iterator[SheetQuestion]:
    """The widest leap, or all of that size."""
    pitches = tune.melody.pitches
    sizes = {(a, b): abs(pitches[b].midi - pitches[a].midi) for a, b in tune.melody.moves}
    widest = max(sizes.values(), default=0)
    leaps = [move for move, size in sizes.items() if size == widest]
    if widest < _LEAP or len(leaps) > _MOST_ANSWERS:
        return
    told = [
        f"{tune.place(a)}: {interval_words(pitches[b] - pitches[a])}, "
        f"{tune.name(a)} to {tune.name(b)}"
        for a, b in leaps
    ]
    if len(leaps) == 1:
        yield SheetQuestion("Where is the widest leap, up or down, and to which degree?", told[0])
    else:
        count = ("", "", "Two", "Three")[len(leaps)]
        yield SheetQuestion(
            f"{count} leaps are the widest. Where, and to which degree?", "; ".join(told)
        )


def _highest(tune: _Tune) -> Iterator[SheetQuestion]:
    yield from _extreme(tune, "highest", max(pitch.midi for pitch in tune.melody.pitches))


def _lowest(tune: _Tune) -> Iterator[SheetQuestion]:
    yield from _extreme(tune, "lowest", min(pitch.midi for pitch in tune.melody.pitches))


def _extreme(tune: _Tune, which: str, extreme: int) -> Iterator[SheetQuestion]:
    midi = [pitch.midi for pitch in tune.melody.pitches]
    notes = [note for note, sound in enumerate(midi) if sound == extreme]
    if len(notes) <= _MOST_ANSWERS and len(set(midi)) > 2:
        what = ", and which degree is it?" if tune.labels[0] else "?"
        yield SheetQuestion(f"Where is the {which} note{what}", tune.name_and_places(notes))


def _missing(tune: _Tune) -> Iterator[SheetQuestion]:
    """One degree of the seven that never sounds."""
    melody = tune.melody
    if melody.key is None or len(melody.keys) > 1 or len(melody.pitches) < 12:
        return
    numbers = {degree.number for degree in melody.degrees if degree}
    absent = sorted(set(range(1, 8)) - numbers)
    if len(absent) == 1:
        yield SheetQuestion("One degree of the seven never sounds. Which one?", str(absent[0]))
    elif len(absent) == 2:
        text = "Two degrees of the seven never sound. Which ones?"
        yield SheetQuestion(text, f"{absent[0]} and {absent[1]}")


def _longest(tune: _Tune) -> Iterator[SheetQuestion]:
    lengths = tune.melody.lengths
    longest = max(lengths)
    notes = [note for note, length in enumerate(lengths) if length == longest]
    if len(notes) <= 2 and len(set(lengths)) > 1 and notes != [len(lengths) - 1]:
        told = length_words(longest) or "1 beat"
        which = "Which degree is the longest note?"
        yield SheetQuestion(which, f"{tune.name_and_places(notes)}; {told}")


def _second_phrase(tune: _Tune) -> Iterator[SheetQuestion]:
    melody = tune.melody
    if melody.phrases and tune.labels[0]:
        note = next((n for n, e in enumerate(melody.struck) if e >= melody.phrases[0]), None)
        if note is not None:
            where = melody.place_of(melody.phrases[0]).partition(",")[0]
            yield SheetQuestion(f"Which degree begins the second phrase, {where}?", tune.name(note))


def _ends_on(tune: _Tune) -> Iterator[SheetQuestion]:
    if tune.labels[0]:
        yield SheetQuestion("Which degree ends it?", tune.name(len(tune.labels) - 1))
        yield SheetQuestion("Which degree begins it?", tune.name(0))


_ASKED = (
    _keys,
    _outside,
    _form,
    _leap,
    _highest,
    _missing,
    _longest,
    _lowest,
    _second_phrase,
    _ends_on,
)


# -- what to tell, and hints ---------------------------------------------------------------------


def account_lines(melody: Melody) -> list[str]:
    """The teacher's words about the notes outside the scale, a line each."""
    readings = read_scales(melody) if melody.keys and melody.pitches else ()
    lines = []
    for reading in readings:
        where = f"{reading.place}: " * (len(readings) > 1)
        if reading.color:
            lines.append(f"{where}{reading.stated.name}: {reading.color}.")
        lines += [f"{where}{account.title}: {account.evidence}." for account in reading.accounts]
        if len(reading.modes) > 1 and len(reading.stated.names) < 7:
            *names, last = (mode.name for mode in reading.modes)
            held = f"{', '.join(names)} and {last} hold it alike"
            lines.append(
                f"{where}{reading.stated.name}: {held}; {_deciding(reading)} would decide."
            )
    return [with_capitals(f"{line[0].upper()}{line[1:]}") for line in lines]


def _deciding(reading: ScaleReading) -> str:
    forms = groupby(reading.undecided, key=lambda name: name.strip("#b"))
    return ", ".join(" or ".join(sorted(names, key=len)) for _, names in forms)


@dataclass(frozen=True, slots=True)
class Hint:
    """One rung of the ladder."""

    name: str
    """The thing that it tells."""
    gives: str
    """How much it gives away."""
    lines: tuple[str, ...] = ()
    """The hint; empty for the last rung, the tab."""


def hints_about(melody: Melody, *, degrees: str = "major") -> tuple[Hint, ...]:
    """From how many notes there are, a rung at a time, to the tab."""
    if not melody.pitches:
        return ()
    tune = _Tune(melody, degree_labels(melody, degrees=degrees))
    midi = [pitch.midi for pitch in melody.pitches]
    low, high = midi.index(min(midi)), midi.index(max(midi))
    count = len(set(midi))
    return (
        Hint("how many different notes", "gives little away", (f"{count} different notes",)),
        Hint("up or down", "gives the shape away", tuple(_by_bar(tune, _contour(melody)))),
        Hint("the first note", "gives one note away", (tune.name(0),)),
        Hint(
            "the lowest and the highest",
            "gives two notes and the range away",
            (f"lowest {tune.name_and_places([low])}", f"highest {tune.name_and_places([high])}"),
        ),
        Hint(
            "every note",
            "gives every answer away",
            tuple(_by_bar(tune, [tune.labels[n] or str(p) for n, p in enumerate(melody.pitches)])),
        ),
        Hint("the tab", "gives everything away"),
    )


def _contour(melody: Melody) -> list[str]:
    words = {1: "up", -1: "down", 0: "same"}
    midi = [pitch.midi for pitch in melody.pitches]
    pairs = [(midi[a], midi[b]) for b, a in enumerate(melody.before) if a is not None]
    return ["start", *(words[(b > a) - (b < a)] for a, b in pairs)]


def _by_bar(tune: _Tune, words: Sequence[str]) -> Iterator[str]:
    melody = tune.melody
    for span in melody.spans(melody.bars if melody.bars else melody.phrases):
        first, last = (bisect_left(melody.struck, event) for event in (span.start, span.stop))
        told = words[first:last]
        number = melody.bar_numbers[span.start]
        name = f"bar {number}: " if number else "pickup: "
        if told:
            yield name * bool(melody.bars) + " ".join(told)
