"""MusicXML 4.0 (W3C Community Group, 2021), written for a notation staff and a tab staff.

**Conventions of the standard.**  Staff lines and ``staff-tuning`` count from the *bottom*, the
``string`` of a note counts from the *top* (1 is the highest full-length string), and the tuning
is given without the capo.  Where music for an instrument is written above its sound, pitches are
the written ones and ``transpose`` leads to the sound.  A pickup is bar 0 and ``implicit``.

Elements stand in the order the schema asks for; the tests hold the result against the schema.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction
from math import lcm
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from fretpath.errors import RequestError
from fretpath.exchange.marks import marks_of
from fretpath.exchange.values import in_note_values, note_values, quarters
from fretpath.music.key import Key
from fretpath.music.melody import Melody, Meter, Note
from fretpath.music.pitch import OCTAVE, Pitch
from fretpath.neck.arrangement import Arrangement, Fingering
from fretpath.neck.instrument import Instrument

__all__ = ["write_musicxml"]

_MOST_DIVISIONS = 50_000
_MODES = {"natural minor": "minor"}
_UNITS = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd"}
_MIDDLE_C = Pitch.parse("C4")


def write_musicxml(music: Melody | Arrangement) -> str:
    """MusicXML 4.0 of a melody (one staff) or of an arrangement (notation above tab).

    Raises :class:`RequestError` for lengths that have no note value.
    """
    if isinstance(music, Arrangement):
        page = _Page(music.melody, music.instrument, music.fingerings)
    else:
        page = _Page(music, None, ())
    root = page.score()
    indent(root, " ")
    head = '<?xml version="1.0" encoding="UTF-8"?>\n'
    return head + tostring(root, encoding="unicode") + "\n"


def _add(parent: Element, tag: str, text: object = None, **attributes: str) -> Element:
    element = SubElement(parent, tag, {k.replace("_", "-"): v for k, v in attributes.items()})
    if text is not None:
        element.text = str(text)
    return element


class _Page:
    """What every part of the file needs to know."""

    def __init__(
        self, melody: Melody, instrument: Instrument | None, fingerings: tuple[Fingering, ...]
    ) -> None:
        self.melody = in_note_values(melody)
        self.instrument = instrument
        self.lengths = quarters(self.melody)
        self.divisions = lcm(*(length.denominator for length in self.lengths))
        if self.divisions > _MOST_DIVISIONS:
            raise RequestError(
                "the lengths of this melody have no common measure that MusicXML could count in; "
                "use fewer kinds of tuplet"
            )
        self.fingerings = dict(zip(self.melody.struck, fingerings, strict=False))
        self.octaves = instrument.written if instrument else 0

    def score(self) -> Element:
        root = Element("score-partwise", {"version": "4.0"})
        if self.melody.title:
            _add(_add(root, "work"), "work-title", _plain(self.melody.title))
        identification = _add(root, "identification")
        _add(_add(identification, "encoding"), "software", "fretpath")
        fields = _add(identification, "miscellaneous")
        for name, value in marks_of(self.melody):
            _add(fields, "miscellaneous-field", _plain(value), name=name)
        self._part_list(root)
        part = _add(root, "part", id="P1")
        first = 0 if self.melody.has_pickup else 1
        for number, span in enumerate(self.melody.spans(self.melody.bars), start=first):
            self._measure(part, number, span)
        return root

    def _part_list(self, root: Element) -> None:
        part = _add(_add(root, "part-list"), "score-part", id="P1")
        made = self.instrument
        _add(part, "part-name", made.name if made else "Melody")
        if made:
            _add(_add(part, "score-instrument", id="P1-I1"), "instrument-name", made.name)
            sound = _add(part, "midi-instrument", id="P1-I1")
            _add(sound, "midi-channel", 1)
            _add(sound, "midi-program", made.program)

    def _measure(self, part: Element, number: int, span: range) -> None:
        implicit = {"implicit": "yes"} if number == 0 else {}
        measure = _add(part, "measure", number=str(number), **implicit)
        if span.start and span.start in self.melody.phrases:
            _add(measure, "print", new_system="yes")
        keys, meters = dict(self.melody.keys), dict(self.melody.meters)
        for event in span:
            self._attributes(measure, event, keys.get(event), meters.get(event))
            if event == 0:
                self._tempo(measure)
            self._note(measure, event, staff=1)
        if self.instrument:
            length = sum((self.lengths[event] for event in span), Fraction(0))
            _add(_add(measure, "backup"), "duration", int(length * self.divisions))
            for event in span:
                self._note(measure, event, staff=2)

    # -- attributes ------------------------------------------------------------------------------

    def _attributes(
        self, measure: Element, event: int, key: Key | None, meter: Meter | None
    ) -> None:
        if event and key is None and meter is None:
            return
        attributes = _add(measure, "attributes")
        if event == 0:
            _add(attributes, "divisions", self.divisions)
        if key:
            signature = _add(attributes, "key")
            _add(signature, "fifths", key.signature)
            _add(signature, "mode", _MODES.get(key.scale.parent, key.scale.parent))
        if meter:
            time = _add(attributes, "time")
            _add(time, "beats", meter.beats)
            _add(time, "beat-type", meter.unit)
        if event == 0:
            self._staves(attributes)

    def _staves(self, attributes: Element) -> None:
        made = self.instrument
        if made:
            _add(attributes, "staves", 2)
        clef = _add(attributes, "clef", **({"number": "1"} if made else {}))
        low = self._middle() < _MIDDLE_C.midi
        _add(clef, "sign", "F" if low else "G")
        _add(clef, "line", 4 if low else 2)
        if made is None:
            return
        tab = _add(attributes, "clef", number="2")
        _add(tab, "sign", "TAB")
        _add(tab, "line", max(1, (len(made.strings) + 1) // 2))
        _staff_details(attributes, made)
        if self.octaves:
            transpose = _add(attributes, "transpose")
            _add(transpose, "diatonic", 0)
            _add(transpose, "chromatic", 0)
            _add(transpose, "octave-change", -self.octaves)

    def _middle(self) -> float:
        """Middle of the written range, as a MIDI number; it decides the clef."""
        midi = [pitch.midi for pitch in self.melody.pitches] or [_MIDDLE_C.midi]
        low, high = self.instrument.range if self.instrument else (min(midi), max(midi))
        return min((low + high) / 2, sum(midi) / len(midi)) + 12 * self.octaves

    def _tempo(self, measure: Element) -> None:
        melody = self.melody
        if melody.tempo is None:
            return
        unit = melody.meter.unit if melody.meter else 4
        direction = _add(measure, "direction", placement="above")
        metronome = _add(_add(direction, "direction-type"), "metronome")
        _add(metronome, "beat-unit", _UNITS[unit])
        _add(metronome, "per-minute", _decimal(melody.tempo))
        _add(direction, "sound", tempo=_decimal(melody.tempo * 4 / unit))

    # -- notes -----------------------------------------------------------------------------------

    def _note(self, measure: Element, event: int, *, staff: int) -> None:
        note, length = self.melody.notes[event], self.lengths[event]
        (value,) = note_values(length)
        element = _add(measure, "note")
        if note.pitch is None:
            _add(element, "rest")
        else:
            _pitch(element, note.pitch + OCTAVE.times(self.octaves))
        _add(element, "duration", int(length * self.divisions))
        ties = list(self._ties(event))
        for kind in ties:
            _add(element, "tie", type=kind)
        _add(element, "voice", 1 if staff == 1 else 5)
        _add(element, "type", value.name)
        for _ in range(value.dots):
            _add(element, "dot")
        if value.actual > 1:
            modification = _add(element, "time-modification")
            _add(modification, "actual-notes", value.actual)
            _add(modification, "normal-notes", value.normal)
        if self.instrument:
            _add(element, "staff", staff)
        self._notations(element, event, note, ties, staff)

    def _ties(self, event: int) -> Iterator[str]:
        notes = self.melody.notes
        if notes[event].pitch is None:
            return
        if notes[event].tied:
            yield "stop"
        if event + 1 < len(notes) and notes[event + 1].tied:
            yield "start"

    def _notations(
        self, element: Element, event: int, note: Note, ties: list[str], staff: int
    ) -> None:
        marks = list(self._technical(event, note)) if note.struck and self._shows(staff) else []
        if not ties and not marks:
            return
        notations = _add(element, "notations")
        for kind in ties:
            _add(notations, "tied", type=kind)
        if marks:
            technical = _add(notations, "technical")
            for tag, number in marks:
                _add(technical, tag, number)

    def _shows(self, staff: int) -> bool:
        return staff == 2 or self.instrument is None

    def _technical(self, event: int, note: Note) -> Iterator[tuple[str, int]]:
        played = self.fingerings.get(event)
        if played:
            if played.finger:
                yield "fingering", played.finger
            yield "string", played.string
            yield "fret", played.fret
        elif note.placement:
            if note.placement.string is not None:
                yield "string", note.placement.string
            if note.placement.fret is not None:
                yield "fret", note.placement.fret


def _staff_details(attributes: Element, made: Instrument) -> None:
    details = _add(attributes, "staff-details", number="2")
    count = len(made.strings)
    _add(details, "staff-lines", count)
    for line, string in enumerate(reversed(made.strings), start=1):
        tuning = _add(details, "staff-tuning", line=str(line))
        _add(tuning, "tuning-step", string.open.letter)
        if string.open.alter:
            _add(tuning, "tuning-alter", string.open.alter)
        _add(tuning, "tuning-octave", string.open.octave)
    if made.capo:
        _add(details, "capo", made.capo)


def _pitch(element: Element, pitch: Pitch) -> None:
    if not 0 <= pitch.octave <= 9:
        raise RequestError(f"{pitch} is outside MusicXML (octaves 0 to 9)")
    inner = _add(element, "pitch")
    _add(inner, "step", pitch.letter)
    if pitch.alter:
        _add(inner, "alter", pitch.alter)
    _add(inner, "octave", pitch.octave)


def _plain(text: str) -> str:
    """Text without characters that XML 1.0 cannot hold."""
    return re.sub(r"[\x00-\x1f\ud800-\udfff\ufffe\uffff]", "", text)


def _decimal(number: Fraction) -> str:
    return f"{float(number):.6f}".rstrip("0").rstrip(".")
