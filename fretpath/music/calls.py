"""Call and answer: after each call a silence as long, for the student to sing or play into."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from fretpath.errors import RequestError
from fretpath.music.melody import Melody, Note


def with_answers(melody: Melody, bars: int | None = None) -> Melody:
    """The melody with a silence after each phrase, or after every so many bars.

    >>> from fretpath.music.notation import format_melody, parse_melody
    >>> called = with_answers(parse_melody("1 2 | 3:2 |\\n5 5 | 1:2", key="G"))
    >>> print(format_melody(called).splitlines()[-2])
    1 2 | 3:2 | r:2 | r:2 |

    A silence has the bars of its call.  Repeats are written out first.  Raises
    :class:`RequestError` for calls by bars where the melody has no bar lines.
    """
    played = melody.expanded()
    if bars is not None and bars < 1:
        raise RequestError(f"a call lasts one bar or more, not {bars}")
    if bars is not None and not played.bars:
        raise RequestError("calls are counted in bars, and this melody has no bar lines: add |")
    calls = list(_calls(played, bars))
    moved: list[int] = []
    notes: list[Note] = []
    lines: list[int] = []
    for call in calls:
        moved += range(len(notes), len(notes) + len(call))
        notes += played.part(call).notes
        if call.stop in played.bars or call.stop == len(played.notes):
            lines.append(len(notes))
        inside = [at for at in played.bars if call.start < at < call.stop]
        for start, stop in pairwise([call.start, *inside, call.stop]):
            if start != call.start:
                lines.append(len(notes))
            beats = sum((note.beats for note in played.notes[start:stop]), Fraction(0))
            notes.append(Note(None, beats))
    return replace(
        played,
        notes=tuple(notes),
        keys=tuple((moved[at], key) for at, key in played.keys),
        meters=tuple((moved[at], meter) for at, meter in played.meters),
        lyrics=tuple((moved[at], word) for at, word in played.lyrics),
        chords=tuple((moved[at], chord) for at, chord in played.chords),
        bars=tuple(sorted({*lines, *(moved[at] for at in played.bars)})) if played.bars else (),
        phrases=tuple(moved[at] for at in played.phrases),
    )


def _calls(melody: Melody, bars: int | None) -> Iterator[range]:
    """The events of each call."""
    if bars is None:
        yield from melody.spans(melody.phrases)
        return
    starts = melody.bars if melody.has_pickup else (0, *melody.bars)
    yield from melody.spans(tuple(starts[bars::bars]))
