"""The neck chart: where the notes of a key, a chord or a melody lie.

**Conventions.**  String 1 is the top line, the nut is on the left (a left-handed view puts it on
the right; the strings keep their order).  Each mark carries a degree, a note or a finger; the
tonic stands in square brackets (in a square in the drawing, :mod:`fretpath.page.chart_svg`).
Frets are spaced evenly or as on the neck, where fret n lies at L * (1 - 2 ** (-n / 12)) from the
nut.  Frets count from the capo.  A melody numbers its notes; a place that is played more than
once carries all its numbers.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fretpath.errors import RequestError, nearest
from fretpath.music.key import Degree, Key
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.instrument import Instrument
from fretpath.neck.setup import On, Setup
from fretpath.page.aloud import with_capitals
from fretpath.page.blanks import NOTHING_HIDDEN, Blanks
from fretpath.page.chart_svg import chart_svg
from fretpath.page.chart_text import Mark, MarkedNeck, render_chart
from fretpath.page.heading import keys_line
from fretpath.page.rows import degree_labels
from fretpath.page.tab import Tab

LABELS = ("degree", "note", "finger")
"""What a mark can carry."""

# Chord formulas against the major scale of the root: common practice, as in any theory text.
CHORDS: dict[str, str] = {
    "": "1 3 5",
    "m": "1 b3 5",
    "dim": "1 b3 b5",
    "aug": "1 3 #5",
    "sus2": "1 2 5",
    "sus4": "1 4 5",
    "6": "1 3 5 6",
    "m6": "1 b3 5 6",
    "7": "1 3 5 b7",
    "maj7": "1 3 5 7",
    "m7": "1 b3 5 b7",
    "m7b5": "1 b3 b5 b7",
    "dim7": "1 b3 b5 bb7",
}
"""Suffix of a chord symbol and its tones."""

_FIRST_TOP = 12
_LEAST_FRETS = 5


@dataclass(frozen=True)
class Chart(MarkedNeck):
    """A stretch of the neck that shows itself: as text (``str(chart)``) and as a drawing."""

    def __str__(self) -> str:
        return render_chart(self)

    @property
    def svg(self) -> str:
        """The chart as a drawing, frets spaced as on the neck."""
        return chart_svg(self)

    def _repr_svg_(self) -> str:
        return self.svg


# -- making charts -------------------------------------------------------------------------------


def key_chart(key: str | Key, on: On = "bass", *, label: str = "degree") -> Chart:
    """Every note of a key's scale on the neck; shows frets 0 to 12.

    >>> key_chart("G", "bass").title
    'G major on the bass'

    *label* is ``degree`` or ``note``; :class:`RequestError` for anything else.
    """
    key = Key.parse(key) if isinstance(key, str) else key
    instrument = Setup.of(on).instrument
    return _tones_chart(
        instrument,
        f"{with_capitals(str(key))} on the {instrument.name}",
        key,
        key.scale.names,
        label,
    )


def chord_chart(symbol: str, on: On = "bass", *, label: str = "degree") -> Chart:
    """Every tone of a chord such as ``Am7`` on the neck, as degrees from its root; frets 0 to 12.

    *label* is ``degree`` or ``note``.  Raises :class:`RequestError` for a chord that is not in
    :data:`CHORDS`.
    """
    length = 1 + sum(1 for _ in _accidentals(symbol[1:]))
    root, suffix = symbol[:length], symbol[length:]
    if suffix not in CHORDS or root[:1] not in tuple("ABCDEFG"):
        suffixes = ", ".join(name for name in CHORDS if name)
        raise RequestError(
            f'unknown chord "{symbol[:40]}"{nearest(suffix, CHORDS)} '
            f"(write a root such as C or Bb, alone or with one of: {suffixes})"
        )
    instrument = Setup.of(on).instrument
    title = f"chord {symbol} on the {instrument.name}"
    return _tones_chart(
        instrument, title, Key(root, "major"), CHORDS[suffix].split(), label, "root"
    )


def _accidentals(text: str) -> Iterator[str]:
    for char in text:
        if char not in "#b":
            return
        yield char


def _tones_chart(
    instrument: Instrument,
    title: str,
    key: Key,
    degrees: Sequence[str],
    label: str,
    home: str = "tonic",
) -> Chart:
    if label not in LABELS[:2]:
        raise RequestError(f'marks of a key carry degree or note, not "{label[:40]}"')
    tonic = key.tonic_pitch(4)
    tones = {}
    for name in degrees:
        pitch = tonic + Degree.parse(name).interval
        tones[pitch.midi % 12] = (name, pitch.name)
    last = min(_FIRST_TOP, instrument.frets_free)
    marks = []
    for string in range(1, len(instrument.strings) + 1):
        for fret in range(instrument.frets_free + 1):
            midi = instrument.midi_at(string, fret)
            if midi is not None and midi % 12 in tones:
                degree, note = tones[midi % 12]
                word = degree if label == "degree" else note
                marks.append(Mark(string, fret, word, degree == "1"))
    return Chart(title, instrument, tuple(marks), 0, last, label, home=home)


def melody_chart(
    arrangement: Arrangement,
    *,
    label: str = "degree",
    degrees: str = "major",
    hide: Blanks = NOTHING_HIDDEN,
) -> Chart:
    """The places a melody is played at, numbered in order; what *hide* hides is left out.

    *label* is one of :data:`LABELS`; without a key there are no degrees, and the marks carry notes
    instead.  *degrees* counts against the ``major`` scale or the ``key`` signature.  Shows the
    frets played and one on either side, at least five.
    """
    if label not in LABELS:
        raise RequestError(f'marks carry {", ".join(LABELS)}, not "{label[:40]}"')
    if label == "degree" and arrangement.melody.key is None:
        label = "note"
    labels = degree_labels(arrangement.melody, degrees=degrees)
    played: dict[tuple[int, int], list[int]] = defaultdict(list)
    shown = [n for n in range(len(arrangement)) if not hide.hides("place", n)]
    for note in shown:
        played[arrangement.strings[note], arrangement.frets[note]].append(note)
    marks = tuple(
        _melody_mark(arrangement, place, notes, label, labels, hide)
        for place, notes in sorted(played.items())
    )
    title = arrangement.melody.title or "the melody"
    first, last = _stretch([mark.fret for mark in marks], arrangement.instrument)
    return Chart(
        f"{title} on the {arrangement.instrument.name}",
        arrangement.instrument,
        marks,
        first,
        last,
        label,
        tuple(_positions(arrangement, shown)),
        _scale_line(arrangement, hide),
        description="\n\n".join(Tab(arrangement, degrees=degrees, hide=hide).systems),
    )


def empty_chart(instrument: Instrument, highest_fret: int | None = None) -> Chart:
    """A neck without marks, to find something on; frets 0 to 12, or to the highest allowed."""
    asked = _FIRST_TOP if highest_fret is None else max(highest_fret, _LEAST_FRETS)
    last = min(asked, _FIRST_TOP, instrument.frets_free)
    return Chart(f"the neck of the {instrument.name}", instrument, (), 0, last)


def _scale_line(arrangement: Arrangement, hide: Blanks) -> str:
    """The key in words, unless it would tell what is hidden."""
    melody = arrangement.melody
    told = melody.key and not {"degree", "pitch"} & hide.kinds and not hide.some_notes
    return keys_line(melody) if told else ""


def _melody_mark(
    arrangement: Arrangement,
    place: tuple[int, int],
    notes: list[int],
    label: str,
    labels: Sequence[str],
    hide: Blanks,
) -> Mark:
    first = notes[0]
    pitch, degree = arrangement.melody.pitches[first], arrangement.melody.degrees[first]
    hidden = hide.hides("degree", first)
    words = {
        "degree": "" if hidden else labels[first],
        "note": pitch.name,
        "finger": str(arrangement.fingers[first]),
    }
    home = degree is not None and degree.plain == "1" and not hidden
    return Mark(*place, words[label], home, tuple(note + 1 for note in notes))


def _positions(arrangement: Arrangement, shown: Sequence[int]) -> Iterator[tuple[int, int]]:
    before = 0
    for note in shown:
        if arrangement.positions[note] != before:
            before = arrangement.positions[note]
            yield note + 1, before


def _stretch(frets: Sequence[int], instrument: Instrument) -> tuple[int, int]:
    """The frets to show: those played and one on either side, at least five."""
    if not frets:
        return 0, min(_FIRST_TOP, instrument.frets_free)
    first, last = max(0, min(frets) - 1), min(max(frets) + 1, instrument.frets_free)
    last = min(max(last, first + _LEAST_FRETS), instrument.frets_free)
    return max(0, min(first, last - _LEAST_FRETS)), last
