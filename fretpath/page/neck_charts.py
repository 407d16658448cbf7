"""Charts of a key, a chord or a melody, and of an empty neck.

**Conventions.**  Each mark carries a degree, a note or a finger.  A chart of a key or a chord
shows frets 0 to 12, one of a melody the frets played and one on either side.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

from fretpath.errors import RequestError, nearest
from fretpath.music.key import Degree, Key
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.instrument import Instrument
from fretpath.neck.setup import On, Setup
from fretpath.page.aloud import with_capitals
from fretpath.page.captions import keys_line
from fretpath.page.chart import Chart, Mark
from fretpath.page.rows import NOTHING_HIDDEN, Blanks, Spot, Subject, rows_named
from fretpath.page.tab import Tab

LABELS = ("degree", "note", "finger")
"""Words that a mark can carry."""

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


def key_chart(
    key: str | Key, on: On = "bass", *, label: str = "degree", left_handed: bool = False
) -> Chart:
    """Every note of a key's scale on the neck; shows frets 0 to 12.

    >>> key_chart("G", "bass").title
    'G major on the bass'

    *label* is ``degree`` or ``note``; :class:`RequestError` for anything else.  *left_handed* puts
    the nut on the right.
    """
    key = Key.parse(key) if isinstance(key, str) else key
    chart = _tones_chart(with_capitals(str(key)), key, key.scale.names, on, label, "tonic")
    return replace(chart, left_handed=left_handed)


def chord_chart(
    symbol: str, on: On = "bass", *, label: str = "degree", left_handed: bool = False
) -> Chart:
    """Every tone of a chord such as ``Am7`` on the neck, as degrees from its root; frets 0 to 12.

    *label* is ``degree`` or ``note``, *left_handed* puts the nut on the right.  Raises
    :class:`RequestError` for a chord that is not in :data:`CHORDS`.
    """
    end = len(symbol) - len(symbol[1:].lstrip("#b"))
    root, suffix = symbol[:end], symbol[end:]
    if suffix not in CHORDS or root[:1] not in tuple("ABCDEFG"):
        suffixes = ", ".join(name for name in CHORDS if name)
        raise RequestError(
            f'unknown chord "{symbol[:40]}"{nearest(suffix, CHORDS)} '
            f"(write a root such as C or Bb, alone or with one of: {suffixes})"
        )
    tones = CHORDS[suffix].split()
    chart = _tones_chart(f"chord {symbol}", Key(root, "major"), tones, on, label, "root")
    return replace(chart, left_handed=left_handed)


def _tones_chart(
    name: str, key: Key, degrees: Sequence[str], on: On, label: str, home: str
) -> Chart:
    if label not in LABELS[:2]:
        raise RequestError(f'marks of a key carry degree or note, not "{label[:40]}"')
    instrument = Setup.of(on).instrument
    tones = {}
    for degree in degrees:
        pitch = key.tonic_pitch(4) + Degree.parse(degree).interval
        tones[pitch.midi % 12] = (degree, pitch.name)
    last = min(_FIRST_TOP, instrument.frets_free)
    marks = []
    for string in range(1, len(instrument.strings) + 1):
        for fret in range(instrument.frets_free + 1):
            midi = instrument.midi_at(string, fret)
            if midi is not None and midi % 12 in tones:
                degree, note = tones[midi % 12]
                word = degree if label == "degree" else note
                marks.append(Mark(string, fret, word, degree == "1"))
    title = f"{name} on the {instrument.name}"
    return Chart(title, instrument, tuple(marks), 0, last, label, home=home)


def melody_chart(
    arrangement: Arrangement,
    *,
    label: str = "degree",
    degrees: str = "major",
    hide: Blanks = NOTHING_HIDDEN,
    left_handed: bool = False,
) -> Chart:
    """The places a melody is played at, numbered in order; what *hide* hides is left out.

    *label* is one of :data:`LABELS`; without a key there are no degrees, and the marks carry notes
    instead.  *degrees* counts against the ``major`` scale or the ``key`` signature.  Shows the
    frets played and one on either side, at least five; *left_handed* puts the nut on the right.
    """
    if label not in LABELS:
        raise RequestError(f'marks carry {", ".join(LABELS)}, not "{label[:40]}"')
    if label == "degree" and arrangement.melody.key is None:
        label = "note"
    subject = Subject(arrangement, degrees, hide=hide)
    played: dict[tuple[int, int], list[Spot]] = defaultdict(list)
    for spot in map(subject.spot, arrangement.melody.struck):
        if not hide.hides("place", spot.note):
            played[arrangement.strings[spot.note], arrangement.frets[spot.note]].append(spot)
    marks = tuple(_melody_mark(place, spots, label) for place, spots in sorted(played.items()))
    title = arrangement.melody.title or "the melody"
    first, last = _stretch([mark.fret for mark in marks], arrangement.instrument)
    return Chart(
        f"{title} on the {arrangement.instrument.name}",
        arrangement.instrument,
        marks,
        first,
        last,
        label,
        tuple((note + 1, position) for note, position in subject.moves.items()),
        _scale_line(arrangement, hide),
        description="\n\n".join(Tab(subject).systems),
        left_handed=left_handed,
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


def _melody_mark(place: tuple[int, int], spots: Sequence[Spot], label: str) -> Mark:
    first, hide = spots[0], spots[0].subject.hide
    (row,) = rows_named([label], LABELS)
    word = first.pitch.name if label == "note" else row.token(first)
    home = first.degree is not None and first.degree.plain == "1"
    return Mark(
        *place,
        "" if row.is_hidden(first) else word,
        home and not hide.hides("degree", first.note),
        tuple(spot.note + 1 for spot in spots),
    )


def _stretch(frets: Sequence[int], instrument: Instrument) -> tuple[int, int]:
    """The frets to show: those played and one on either side, at least five."""
    if not frets:
        return 0, min(_FIRST_TOP, instrument.frets_free)
    first, last = max(0, min(frets) - 1), min(max(frets) + 1, instrument.frets_free)
    last = min(max(last, first + _LEAST_FRETS), instrument.frets_free)
    return max(0, min(first, last - _LEAST_FRETS)), last
