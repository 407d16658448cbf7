"""Bar lines, repeat signs, and the lines of words and chords, as marks of a melody."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from typing import TypeVar

from fretpath.errors import RequestError
from fretpath.music.melody import Melody
from fretpath.music.repeats import Repeat
from fretpath.music.text import BAR, MusicLine, TextSpot

T = TypeVar("T")


def placed_lines(lines: list[MusicLine]) -> Iterator[tuple[int, MusicLine]]:
    """Each line with the index of its first event."""
    start = 0
    for line in lines:
        yield start, line
        start += len(line.events)


class Signs:
    """Bar lines and repeat signs, taken one after the other."""

    def __init__(self) -> None:
        self._marks: list[int] = []
        self._repeats: list[Repeat] = []
        self._opened: tuple[int, TextSpot] | None = None
        self._endings: list[int] = []
        self._closed: tuple[int, TextSpot] | None = None
        """Where an ending ended and the next must begin."""
        self.spot: TextSpot | None = None
        """Where the last sign stands."""

    def take(self, at: int, sign: str, spot: TextSpot) -> None:
        """The next sign, before the event ``at``."""
        self.spot = spot
        match = BAR.fullmatch(sign)
        assert match is not None
        number = match["ending"]
        if self._closed and not number:
            raise spot.error(f"an ending follows here: write [{len(self._endings) + 1} before this")
        if number:
            self._end(at, int(number), spot)
            return
        last = self._marks[-1] if self._marks else 0
        if sign != "|:" and at == last:
            raise spot.error('stray "|": there is no note between it and the bar line before')
        if at != last:
            self._marks.append(at)
        if sign == "|:":
            self._open(at, spot)
        elif sign != "|":
            self._close(at, sign, int(match["times"] or 0), spot)

    def _open(self, at: int, spot: TextSpot) -> None:
        if self._opened:
            raise spot.error("a repeat inside a repeat: close the first one with :|")
        self._opened = (at, spot)

    def _start(self) -> int:
        if self._opened:
            return self._opened[0]
        return self._repeats[-1].stop if self._repeats else 0

    def _close(self, at: int, sign: str, times: int, spot: TextSpot) -> None:
        if sign == "]" and len(self._endings) < 2:
            raise spot.error("this ] closes no ending: endings begin with [1 and [2")
        if sign != "]" and self._endings:
            if times:
                raise spot.error("the endings say how often the repeat is played; drop the x")
            self._closed = (at, spot)
            return
        self._add(at, len(self._endings) or times or 2, spot)

    def _add(self, at: int, times: int, spot: TextSpot) -> None:
        endings = tuple(self._endings)
        self._repeats.append(checked(spot, lambda: Repeat(self._start(), at, times, endings)))
        self._opened, self._endings = None, []

    def _end(self, at: int, number: int, spot: TextSpot) -> None:
        """The beginning of an ending."""
        bar = self._marks[-1] if self._marks else 0
        if number != len(self._endings) + 1:
            raise spot.error(f"expected [{len(self._endings) + 1}: endings count from 1")
        if at != bar or at <= self._start() or (number > 1 and not self._closed):
            before = ":|" if number > 1 else "| after the part that both endings share"
            raise spot.error(f"[{number} stands right behind a {before}")
        self._endings.append(at)
        self._closed = None
        self._opened = self._opened or (self._start(), spot)

    def bars(self, count: int) -> tuple[int, ...]:
        """Events behind a bar line."""
        return tuple(mark for mark in self._marks if mark < count)

    def repeats(self, count: int) -> tuple[Repeat, ...]:
        """The repeats; one with endings may end with the melody."""
        if self._closed or len(self._endings) == 1:
            spot = (self._closed or self._opened or (0, None))[1]
            assert spot is not None
            raise spot.error(
                "a repeat with a first ending has a second one: write [2 behind its :|"
            )
        if self._opened and not self._endings:
            raise self._opened[1].error("this repeat has no end: write :| where it goes back")
        if self._opened:
            self._add(count, len(self._endings), self._opened[1])
        return tuple(self._repeats)


def checked(spot: TextSpot, build: Callable[[], T]) -> T:
    """The value built, or its complaint at a place in the text."""
    try:
        return build()
    except RequestError as problem:
        raise spot.error(str(problem)) from None


def with_words(melody: Melody, lines: list[MusicLine]) -> Melody:
    """The melody with the syllables and chord names that stand under its lines."""
    for start, line in placed_lines(lines):
        for name, value, spot in line.under:
            events = range(start, start + len(line.events))
            words = tuple(_words_under(melody, events, name, value, spot))
            melody = checked(spot, partial(_joined, melody, name, words))
    return melody


def _joined(melody: Melody, name: str, words: tuple[tuple[int, str], ...]) -> Melody:
    if name == "words":
        return replace(melody, lyrics=melody.lyrics + words)
    return replace(melody, chords=melody.chords + words)


def _words_under(
    melody: Melody, events: range, name: str, value: str, spot: TextSpot
) -> Iterator[tuple[int, str]]:
    """(event, word) of a line of words or chords under a line of music."""
    bars = sorted({events.start, *melody.bars, *melody.phrases, len(melody.notes)})
    places = [e for e in events if name == "chords" or melody.notes[e].struck]
    what = "notes to sing" if name == "words" else "notes, rests and holds"
    since = at = 0
    for word in value.split():
        if word == "|":
            reached = places[at - 1] if at else events.start
            bar = next(bar for bar in bars if bar > reached)
            since = at = sum(place < bar for place in places)
            continue
        if at >= len(places):
            where = "behind the last | in" if since else "in"
            has = f"{what} {where} the line above: {at - since}"
            raise spot.error(f'"{word[:20]}" is one too many ({has})')
        if word != "_":
            yield places[at], word.replace("~", " ")
        at += 1
