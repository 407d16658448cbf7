"""Parts of a melody that stand by themselves, with the key, meter and bars they had.

**Conventions.**  Parts are ranges of events.  A piece for the ear is made of whole bars of one
phrase, and holds at most eight struck notes unless one bar has more.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from fretpath.music.melody import Melody


def excerpt(melody: Melody, events: range) -> Melody:
    """The events of a range as a melody; a tie at its start becomes a struck note.

    >>> from fretpath.music.notation import format_melody, parse_melody
    >>> part = excerpt(parse_melody("key: G major\\n\\n1 2 | 3 4"), range(1, 3))
    >>> print(format_melody(part), end="")
    key: G major
    <BLANKLINE>
    2 | 3
    """
    return replace(melody.part(events), headers=())


def pieces(melody: Melody, *, most: int = 8) -> Iterator[range]:
    """Ranges of events short enough to keep in the ear: whole bars of one phrase.

    A piece holds at most *most* struck notes unless a single bar has more; phrases are cut only
    at bar lines that a struck note follows.  Pieces without a note are left out.
    """
    for phrase in melody.spans(melody.phrases):
        start = phrase.start
        marks = [*_breaks(melody, phrase), phrase.stop]
        for mark, following in zip(marks, [*marks[1:], None], strict=True):
            if following and _struck(melody, range(start, following)) <= most:
                continue
            if _struck(melody, range(start, mark)):
                yield range(start, mark)
            start = mark


def _breaks(melody: Melody, phrase: range) -> list[int]:
    return [
        at for at in melody.bars if at in phrase and at > phrase.start and melody.notes[at].struck
    ]


def _struck(melody: Melody, events: range) -> int:
    return sum(melody.notes[event].struck for event in events)
