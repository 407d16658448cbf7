"""The tab as sentences, one a note: to be read aloud by a screen reader or a partner.

**Conventions.**  What is said of a note, and in which order, stands in
:mod:`fretpath.page.rows`.  The first note and every shift name the position; a note says its
length when it is not one beat, and its beat where the melody has a rhythm.
"""

from __future__ import annotations

from collections.abc import Iterator

from fretpath.neck.arrangement import Arrangement
from fretpath.page.aloud import length_words, name_words, with_capitals
from fretpath.page.blanks import NOTHING_HIDDEN, Blanks
from fretpath.page.rows import ALL_ROWS, Spot, Subject


def render_spoken(
    arrangement: Arrangement, *, degrees: str = "major", hide: Blanks = NOTHING_HIDDEN
) -> str:
    """One line a note, ``string A, fret 3, first finger, degree 1, down a fourth``.

    *degrees* counts against the ``major`` scale or the ``key`` signature; what *hide* hides is
    left out.  Ends with a newline.
    """
    melody = arrangement.melody
    lines = [melody.title] if melody.title else []
    if melody.key and "pitch" not in hide.kinds:
        lines.append(f"key {name_words(with_capitals(str(melody.key)))}")
    subject = Subject(melody, arrangement, degrees, hide=hide)
    for event, note in enumerate(melody.notes):
        spot = subject.spot(event)
        lines += [word for word in [_BAR.words(spot)] if word]
        if not (note.tied and note.pitch is not None):
            lines.append(", ".join(word for word in _words(spot) if word))
    return "\n".join(lines) + "\n"


_BAR = ALL_ROWS[0]


def _words(spot: Spot) -> Iterator[str]:
    yield from (row.words(spot) for row in ALL_ROWS[1:] if not row.of_notes)
    if spot.note < 0:
        yield "rest"
        yield length_words(spot.melody.notes[spot.event].beats)
        return
    hide = spot.subject.hide
    if hide.hides_note(spot.note) or {"degree", "pitch", "place"} <= hide.kinds:
        yield "a note for you to find"
    yield from (row.words(spot) for row in ALL_ROWS if row.of_notes and not row.hidden(spot))
    yield length_words(spot.melody.lengths[spot.note])
