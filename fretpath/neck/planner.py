"""From the notes of melodies to layered graphs, and from paths back to the hand.

A :class:`Planner` knows one setup and serves any number of melodies: equal notes share their
layers, and equal steps their tables.

**Theory.**  A note is a layer that holds the states of its sound; the prices of the steps from one
layer to the next are a table of shape (targets, sources) in thousandths of effort, with the price
of the target in it.  All tables that a melody needs and that are not kept are worked out at once,
over the pairs of states laid side by side.  Where there is more or less time, the timed part of a
table is multiplied by the pace.

**Conventions.**  States are numbered from 0 in the order of their sound; what may not be is
FORBIDDEN.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError
from fretpath.music.melody import Melody, Placement
from fretpath.neck.pace import PACE_UNIT, PLAIN, Pace, paces_of
from fretpath.neck.search import FORBIDDEN, Layers
from fretpath.neck.setup import Setup
from fretpath.neck.states import MIDI_NUMBERS, States, all_states, sound_of
from fretpath.neck.terms import TIMED, Weights, note_parts, step_parts

Ints = NDArray[np.int64]
MOST_BYTES = 8 << 20
"""Memory for the tables one planner keeps."""


@dataclass(frozen=True, slots=True)
class NoteLimit:
    """The limits of one note; None leaves a thing open."""

    string: int | None = None
    """String number."""
    fret: int | None = None
    """Fret."""
    position: int | None = None
    """Fret under the index finger."""
    finger: int | None = None
    """1 to 4, or 0 for an open string."""
    without: tuple[tuple[int, int], ...] = ()
    """Places (string, fret) that are ruled out."""

    def allows(self, string: int, fret: int) -> bool:
        """Whether the place keeps to it."""
        asked = self.string in (None, string) and self.fret in (None, fret)
        return asked and (string, fret) not in self.without

    def holds(self, states: States, numbers: Ints) -> NDArray[np.bool_]:
        """Which of the states ``numbers`` keep to it."""
        keep = np.ones(len(numbers), dtype=bool)
        for column, wanted in (
            (states.string, self.string),
            (states.fret, self.fret),
            (states.position, self.position),
            (states.finger, self.finger),
        ):
            if wanted is not None:
                keep &= column[numbers] == wanted
        for string, fret in self.without:
            keep &= (states.string[numbers] != string) | (states.fret[numbers] != fret)
        return keep


OPEN = NoteLimit(fret=0)
"""A pedal is played on an open string where there is one (common practice)."""
LEAST_PEDAL = 4
LEAST_LINE = 3

Choice = int | tuple[int, NoteLimit]
"""What decides the states of a note: its MIDI number, and what it is held to."""
_Key = tuple[int, int, Pace]
"""A table: from which sound to which, and at what pace."""


@dataclass(frozen=True)
class Line:
    """The struck notes of a melody, as far as the hand needs them."""

    sounds: tuple[int, ...]
    """What each note sounds, numbered by :func:`~fretpath.neck.states.sound_of`."""
    limits: Mapping[int, NoteLimit]
    """What single notes are held to, by their place in ``sounds``."""
    paces: tuple[Pace, ...] | None = None
    """The pace of each step; None when nothing is known of the time."""

    def holding(self, limits: Mapping[int, NoteLimit]) -> Line:
        """The same line with more notes held."""
        return replace(self, limits={**self.limits, **limits})

    def part(self, start: int, stop: int) -> Line:
        """The notes from *start* up to but not including *stop*."""
        limits = {n - start: self.limits[n] for n in range(start, stop) if n in self.limits}
        paces = None if self.paces is None else self.paces[start : stop - 1]
        return Line(self.sounds[start:stop], limits, paces)


class Planner:
    """The layers and tables of one setup.

    Attributes: ``setup``; ``states``, every state of the hand that the limits leave; ``costs``,
    what each state costs by itself.
    """

    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        states = all_states(setup.instrument, setup.hand)
        self.states = states.only(setup.limits.allowed(states))
        parts = note_parts(setup.instrument, self.states, self.weights)
        self.costs: Ints = sum(parts.values(), np.zeros(len(self.states), dtype=np.int64))
        self._kept: dict[tuple[int, int], tuple[Ints, Ints]] = {}
        self._paced: dict[_Key, Ints] = {}
        self._bytes = 0
        self._dearest = 0

    def __reduce__(self) -> tuple[object, tuple[Setup]]:
        """Travel to another process without the tables, which are made anew there."""
        return planner_for, (self.setup,)

    @cached_property
    def weights(self) -> Weights:
        """The prices, with what the limits on open strings make of them."""
        return self.setup.prices

    def choices(self, choice: Choice) -> Ints:
        """Numbers of the states of a note, ascending."""
        if isinstance(choice, int):
            return self.states.sounding(choice)
        sound, limit = choice
        numbers = self.states.sounding(sound)
        return numbers[limit.holds(self.states, numbers)]

    def missing(self, line: Line) -> list[int]:
        """The notes of a line that have no state at all."""
        empty = {sound for sound in set(line.sounds) if not len(self.choices(sound))}
        missing = {note for note, sound in enumerate(line.sounds) if sound in empty}
        for note, limit in line.limits.items():
            if not len(self.choices((line.sounds[note], limit))):
                missing.add(note)
        return sorted(missing)

    def layers(self, line: Line) -> Layers:
        """The layered graph of a line; no note may be missing."""
        asked: list[Choice] = list(line.sounds)
        for note, limit in line.limits.items():
            asked[note] = (line.sounds[note], limit)
        place = {choice: number for number, choice in enumerate(dict.fromkeys(asked))}
        numbers = {choice: self.choices(choice) for choice in place}
        paces = line.paces or (PLAIN,) * (len(asked) - 1)
        steps: dict[tuple[Choice, Choice, Pace], int] = {}
        table_of_step = [
            steps.setdefault((before, after, pace), len(steps))
            for (before, after), pace in zip(pairwise(asked), paces, strict=True)
        ]
        tables = self._tables(steps, numbers)
        self._refuse_overflow(len(asked))
        first = self.costs[numbers[asked[0]]]
        layer_of_note = [place[choice] for choice in asked]
        forbids = self.setup.limits.no_shift
        return Layers(list(numbers.values()), layer_of_note, first, tables, table_of_step, forbids)

    def _tables(
        self, steps: Iterable[tuple[Choice, Choice, Pace]], numbers: Mapping[Choice, Ints]
    ) -> list[Ints]:
        """The step costs of each (before, after, pace)."""
        steps = list(steps)
        sounds = [(_sound(before), _sound(after), pace) for before, after, pace in steps]
        whole = self._whole_tables(dict.fromkeys(sounds))
        tables = []
        for (before, after, _), key in zip(steps, sounds, strict=True):
            table = whole[key]
            if after != key[1]:
                table = table[numbers[after] - self.states.sounding(key[1])[0]]
            if before != key[0]:
                table = table[:, numbers[before] - self.states.sounding(key[0])[0]]
            tables.append(table)
        return tables

    def _whole_tables(self, keys: Iterable[_Key]) -> dict[_Key, Ints]:
        """The tables from sound to sound at a pace: those kept, and the rest worked out at once."""
        tables = {key: self._paced[key] for key in keys if key in self._paced}
        missing = [key for key in keys if key not in tables]
        pairs = dict.fromkeys((before, after) for before, after, _ in missing)
        parts = {pair: self._kept[pair] for pair in pairs if pair in self._kept}
        parts.update(self._price([pair for pair in pairs if pair not in parts]))
        for before, after, pace in missing:
            timed, untimed = parts[before, after]
            table = self._in_time(timed, untimed, pace, self.states.sounding(before))
            tables[before, after, pace] = table
            self._keep((before, after, pace), (timed, untimed), table)
        return tables

    def _price(self, pairs: Sequence[tuple[int, int]]) -> dict[tuple[int, int], tuple[Ints, Ints]]:
        """The timed and the untimed part of tables from sound to sound."""
        if not pairs:
            return {}
        numbers = self.states.sounding
        shapes = [(len(numbers(after)), len(numbers(before))) for before, after in pairs]
        before = np.concatenate([np.tile(numbers(a), len(numbers(b))) for a, b in pairs])
        after = np.concatenate([np.repeat(numbers(b), len(numbers(a))) for a, b in pairs])
        timed, untimed = self.step_costs(before, after)
        ends = np.cumsum([rows * columns for rows, columns in shapes])[:-1]
        cut = zip(np.split(timed, ends), np.split(untimed, ends), shapes, strict=True)
        return {
            pair: (one.reshape(shape), other.reshape(shape))
            for pair, (one, other, shape) in zip(pairs, cut, strict=True)
        }

    def step_costs(self, before: Ints, after: Ints) -> tuple[Ints, Ints]:
        """Timed and untimed cost of steps between states side by side, the target's own in it."""
        parts = step_parts(
            self.setup.instrument, self.states.only(before), self.states.only(after), self.weights
        )
        timed = np.zeros(len(before), dtype=np.int64)
        untimed = self.costs[after]
        for name, part in parts.items():
            if name in TIMED:
                timed += part
            else:
                untimed += part
        self._dearest = max(self._dearest, int((2 * timed + untimed).max(initial=0)))
        if self.setup.limits.no_shift:
            stays = self.states.position[before] == self.states.position[after]
            untimed = np.where(stays, untimed, FORBIDDEN)
        return timed, untimed

    def cost_of(self, path: Ints, paces: Sequence[Pace] | None) -> int:
        """The cost of a path, given as state numbers with the pace of each step."""
        timed, untimed = self.step_costs(path[:-1], path[1:])
        if paces is not None:
            after_stopped, after_open = np.array(paces, dtype=np.int64).reshape(-1, 2).T
            factor = np.where(self.states.finger[path[:-1]] > 0, after_stopped, after_open)
            timed = timed * factor // PACE_UNIT
        return int(self.costs[path[0]] + timed.sum() + untimed.sum())

    def _in_time(self, timed: Ints, untimed: Ints, pace: Pace, before: Ints) -> Ints:
        """A table at a pace; sources are columns."""
        if pace == PLAIN:
            return timed + untimed
        after_stopped, after_open = pace
        factor = np.where(self.states.finger[before] > 0, after_stopped, after_open)
        return timed * factor // PACE_UNIT + untimed

    def _keep(self, key: _Key, parts: tuple[Ints, Ints], table: Ints) -> None:
        """Keep tables, and start anew when they take too much memory."""
        size = 3 * table.nbytes
        if self._bytes + size > MOST_BYTES:
            self._kept.clear()
            self._paced.clear()
            self._bytes = 0
        self._bytes += size
        self._kept[key[:2]] = parts
        self._paced[key] = table

    def _refuse_overflow(self, notes: int) -> None:
        """Make sure that no legal path costs as much as a FORBIDDEN step."""
        factor = max(1, int(max(self.weights.hurried, self.weights.rested)))
        dearest = factor * max(self._dearest, int(self.costs.max(initial=0)))
        if notes * dearest >= FORBIDDEN:
            raise RequestError(
                "these weights are so large that the effort of the melody cannot be added up "
                "exactly; make them smaller (only their proportions matter)"
            )


def _sound(choice: Choice) -> int:
    """The sound of a note, whatever it is held to."""
    return choice if isinstance(choice, int) else choice[0]


@lru_cache(maxsize=16)
def planner_for(setup: Setup) -> Planner:
    """The planner of a setup; the last few are kept."""
    return Planner(setup)


def clear_caches() -> None:
    """Let go of every table and state that is kept for speed."""
    planner_for.cache_clear()
    all_states.cache_clear()


def line_of(planner: Planner, melody: Melody, octaves: int = 0) -> Line:
    """The struck notes of a melody, moved by octaves, with what each is held to."""
    limits = _placed([melody.notes[event].placement for event in melody.struck])
    start = planner.setup.limits.start
    if start is not None:
        placed = melody.notes[melody.struck[0]].placement
        if placed and not (
            placed.string in (None, start.string) and placed.fret in (None, start.fret)
        ):
            title = f"{melody.title}: " if melody.title else ""
            raise RequestError(
                f"{title}the first note is placed at {placed} and the start asked for is {start}; "
                "drop one of the two"
            )
        limits[0] = NoteLimit(start.string, start.fret, finger=start.finger)
    sounds = tuple(
        sound_of(planner.setup.hand, pitch.midi + 12 * octaves, pitch.staff + 7 * octaves)
        for pitch in melody.pitches
    )
    if planner.setup.limits.open_strings != "avoid":
        phrase = np.searchsorted(melody.phrases, melody.struck, side="right")
        limits = _ringing(planner, sounds, phrase) | limits
    return Line(sounds, limits, paces_of(melody, planner.weights))


def _ringing(planner: Planner, sounds: Sequence[int], phrase: Ints) -> dict[int, NoteLimit]:
    """The limits that pedals set to notes: the pedal to an open string, the line off that string.

    Under a hand that may not shift the line is left free.
    """
    limits: dict[int, NoteLimit] = {}
    neck, states = planner.setup.instrument, planner.states
    midi = np.array(sounds) % MIDI_NUMBERS
    for pitch, staff in sorted({one.midi: one.staff for one in neck.open_pitches}.items()):
        at_open = sound_of(planner.setup.hand, pitch, staff)
        opened = states.string[planner.choices((at_open, OPEN))].tolist()
        for run in _pedals(pitch, midi, phrase) if opened else ():
            limits.update(dict.fromkeys(run, OPEN))
            nut = neck.strings[opened[0] - 1].nut
            for note in set(range(run[0], run[-1])).difference(run):
                off = NoteLimit(without=((opened[0], int(midi[note]) - pitch + nut),))
                if not planner.setup.limits.no_shift and len(planner.choices((sounds[note], off))):
                    limits[note] = off
    return limits


def _pedals(pitch: int, midi: Ints, phrase: Ints) -> Iterator[list[int]]:
    """The notes of each pedal: one pitch, struck again and again below or above a line.

    A pedal is struck at least :data:`LEAST_PEDAL` times in one phrase, never with more than one
    note between, and the notes between are all above it, or all below, and at least
    :data:`LEAST_LINE` different ones.  *phrase* numbers the phrase of each note.
    """
    struck = np.flatnonzero(midi == pitch)
    cuts = np.flatnonzero((np.diff(struck) > 2) | (np.diff(phrase[struck]) > 0)) + 1
    for first, last in pairwise([0, *cuts.tolist(), len(struck)]):
        if last - first < LEAST_PEDAL:
            continue
        run = struck[first:last]
        line = set(midi[run[:-1] + 1].tolist()) - {pitch}
        one_side = pitch < min(line, default=0) or pitch > max(line, default=pitch)
        if len(line) >= LEAST_LINE and one_side:
            yield run.tolist()


def _placed(placements: Sequence[Placement | None]) -> dict[int, NoteLimit]:
    """The limits that a teacher's placements set, by note."""
    return {
        note: NoteLimit(placement.string, placement.fret)
        for note, placement in enumerate(placements)
        if placement is not None
    }
