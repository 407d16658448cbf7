"""MusicXML 4.0 (W3C Community Group, 2021), read and written.

**Conventions of the standard.**  Staff lines and ``staff-tuning`` count from the *bottom*, the
``string`` of a note counts from the *top* (1 is the highest full-length string), and the tuning
is given without the capo.  Pitches are the sounding ones unless ``transpose`` leads from the
written to the sounding ones; a clef with a small 8 changes where a pitch is drawn and not what it
is.  A pickup is bar 0 and ``implicit``.  ``duration`` counts in ``divisions`` of a quarter note;
what a note looks like is told by ``type``, ``dot`` and ``time-modification``.

**Reading.**  The tree is walked once, one voice of one staff is kept, and whatever has no place in
a melody is counted.  Programs that round triplets to their divisions are taken at their word: the
written value holds where it is within a twentieth of the duration.

**Writing.**  Elements stand in the order the schema asks for; the tests hold the result against
the schema.  An instrument whose music is written above its sound gets a clef with a small 8.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import lcm
from operator import itemgetter
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from fretpath.errors import FretpathError, RequestError, ScoreFileError
from fretpath.exchange.door import check_count, one_line
from fretpath.exchange.melody_of_voice import marks_of
from fretpath.exchange.note_values import NAMES, NoteValue, Written, is_compound
from fretpath.exchange.voices import (
    ScoreSound,
    SignKind,
    TimedSign,
    Voice,
    VoiceDraft,
    choose_part,
    key_of_signature,
)
from fretpath.music.key import Key
from fretpath.music.melody import Melody, Meter, Note, Placement
from fretpath.music.pitch import Interval, Pitch, alter_of
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.hand import Fingering
from fretpath.neck.instrument import Instrument
from fretpath.remarks import Remark

_PREFIX = "fretpath-"
_MODES = {"natural minor": "minor"}
_UNITS = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd"}

# Suffixes of chord names (common practice) for the kinds of MusicXML 4.0 (kind-value).
_KINDS = {
    "major": "", "minor": "m", "augmented": "aug", "diminished": "dim", "dominant": "7",
    "major-seventh": "maj7", "minor-seventh": "m7", "diminished-seventh": "dim7",
    "augmented-seventh": "aug7", "half-diminished": "m7b5", "major-minor": "m(maj7)",
    "major-sixth": "6", "minor-sixth": "m6", "dominant-ninth": "9", "major-ninth": "maj9",
    "minor-ninth": "m9", "dominant-11th": "11", "major-11th": "maj11", "minor-11th": "m11",
    "dominant-13th": "13", "major-13th": "maj13", "minor-13th": "m13",
    "suspended-second": "sus2", "suspended-fourth": "sus4", "power": "5",
}  # fmt: skip
_KIND_OF = {suffix: kind for kind, suffix in _KINDS.items()}
_CHORD = re.compile(r"([A-G])(#{1,2}|b{1,2})?([^/]*)(?:/([A-G])(#{1,2}|b{1,2})?)?")

# -- reading ---------------------------------------------------------------------------------------

# What a number may be at most.
_MOST = {
    "duration": 9_999_999, "divisions": 999_999, "actual-notes": 999, "normal-notes": 999,
    "string": 99, "fret": 99, "fifths": 14, "octave": 9, "chromatic": 99, "diatonic": 99,
    "octave-change": 9, "alter": 9, "root-alter": 9, "bass-alter": 9, "degree-alter": 9,
    "degree-value": 99, "staff": 99, "per-minute": 9999, "beats": 99, "beat-type": 64,
}  # fmt: skip
_NUMBER = re.compile(r"[+-]?\d{1,12}(\.\d{1,9})?")
_NEAR = Fraction(1, 20)
_LENGTHS = {name: Fraction(length) for length, name in NAMES.items()}
_ROAD = (
    (re.compile(r"d\.?\s*c\b\.?|da\s+capo", re.I), "da capo"),
    (re.compile(r"d\.?\s*s\b\.?|dal\s+segno", re.I), "dal segno"),
    (re.compile(r"(?:al|to)\s+coda", re.I), "to coda"),
    (re.compile(r"fine\b", re.I), "fine"),
)
_ROAD_ATTRIBUTES: dict[str, SignKind] = {
    "dacapo": "da capo", "dalsegno": "dal segno", "tocoda": "to coda", "fine": "fine",
    "segno": "segno", "coda": "coda",
}  # fmt: skip
_SAID = {
    "slur": "slur", "fermata": "fermata", "glissando": "slide", "slide": "slide",
    "arpeggiate": "arpeggio", "ornaments": "ornament", "dynamics": "dynamic mark",
    "wedge": "hairpin", "hammer-on": "hammer-on", "pull-off": "pull-off", "bend": "bend",
    "octave-shift": "octave line", "pedal": "pedal mark", "measure-repeat": "bar-repeat sign",
    "swing": "swing mark",
}  # fmt: skip


@dataclass(frozen=True)
class _Staff:
    """One staff of one part, which can be chosen."""

    part: Element
    number: int
    name: str
    tab: bool
    pitched: bool
    drums: bool


def read_musicxml(
    root: Element, part: str | None, *, lowest: bool, places: bool, name: str
) -> Voice:
    """One voice of one staff; *part* is a number, a name, or number and voice as ``1.2``.

    *places* keeps strings and frets, and prefers a tab staff.
    """
    staves = [staff for element in _partwise(root, name) for staff in _staves(element, root)]
    pitched = [staff for staff in staves if staff.pitched]
    if not pitched:
        raise ScoreFileError(f"{name} holds no pitched note that could be played")
    usual = sorted(pitched, key=lambda staff: staff.tab != places)[0]
    names = [staff.name for staff in staves]
    index, number, remarks = choose_part(names, part, name, usual=staves.index(usual))
    if len(pitched) - len({staff.tab for staff in pitched}) == 0 and len(pitched) == len(staves):
        remarks = []  # one staff, or notation and tab of the same
    drums = [staff for staff in staves if staff.drums and not staff.pitched]
    remarks += [Remark("left out", f"the percussion part {staff.name}") for staff in drums]
    reader = _XmlReader(staves[index], lowest=lowest, places=places, name=name)
    voices = reader.voices()
    if not 1 <= number <= max(1, len(voices)):
        raise RequestError(f"{name}: this part has voices 1 to {len(voices)}, not {number}")
    if len(voices) > 1:
        text = f"{len(voices)} voices in this part; voice {number} is read (--part {index + 1}.2)"
        remarks.append(Remark("guessed", text))
    reader.read(voices[number - 1] if voices else "")
    reader.draft.remarks += _people(root)
    return reader.draft.voice(title_of(root), _marks_in(root), remarks)


def title_of(root: Element) -> str:
    """The title of a score."""
    credit = root.find("credit[credit-type='title']/credit-words")
    words = credit.text if credit is not None else ""
    return one_line(
        root.findtext("work/work-title") or root.findtext("movement-title") or words or ""
    )


def _people(root: Element) -> Iterator[Remark]:
    creators = {c.get("type", "creator") for c in root.findall("identification/creator")}
    for kind in sorted(creators):
        yield Remark("left out", f"the name of the {one_line(kind)[:20]}")
    if root.find("identification/rights") is not None:
        yield Remark("left out", "the line of rights")


def _marks_in(root: Element) -> tuple[tuple[str, str], ...]:
    """Our fields, without their prefix, and the source."""
    source = one_line(root.findtext("identification/source") or "")
    found = {"source": source} if source else {}
    for element in root.iter("miscellaneous-field"):
        name = element.get("name", "")
        if name.startswith(_PREFIX):
            found[name.removeprefix(_PREFIX)] = one_line(element.text or "")
    return tuple(found.items())


def _partwise(root: Element, name: str) -> list[Element]:
    """The parts, each with its measures; of a score-timewise they are put together."""
    if root.tag != "score-timewise":
        return root.findall("part")
    parts: dict[str, Element] = {}
    for measure in root.findall("measure"):
        for inside in measure.findall("part"):
            part = parts.setdefault(inside.get("id", ""), Element("part", inside.attrib))
            again = SubElement(part, "measure", measure.attrib)
            again.extend(inside)
    check_count(len(parts), "parts", name)
    return list(parts.values())


def _staves(part: Element, root: Element) -> Iterator[_Staff]:
    label = part.get("id", "")
    names = [s for s in root.findall("part-list/score-part") if s.get("id") == label]
    title = one_line(names[0].findtext("part-name") or "") if names else ""
    title = (title or label)[:40]
    pitched: set[str] = set()
    drums: set[str] = set()
    for note in part.iter("note"):
        staff = (note.findtext("staff") or "1").strip()
        if note.find("pitch") is not None:
            pitched.add(staff)
        elif note.find("unpitched") is not None:
            drums.add(staff)
    tabs = {c.get("number", "1") for c in part.iter("clef") if c.findtext("sign") == "TAB"}
    numbers = sorted({n for n in pitched | drums | {"1"} if n.isdecimal()}, key=int)
    for n in numbers:
        named = title if len(numbers) == 1 or n == "1" else f"{title} (staff {n[:3]})"
        yield _Staff(part, int(n), named, n in tabs, n in pitched, n in drums)


@dataclass
class _Bar:
    """The contents of one measure for one voice, by place in quarter notes from its start."""

    number: str = ""
    now: Fraction = Fraction(0)
    """Where the walk through it stands."""
    end: Fraction = Fraction(0)
    """How far it came."""
    notes: list[tuple[Fraction, Fraction, list[Element]]] = field(default_factory=list)
    """Place, length and elements of each note or chord."""
    signs: list[TimedSign] = field(default_factory=list)

    def sign(self, kind: SignKind, value: object = None) -> None:
        """Put a sign where the walk stands."""
        self.signs.append((self.now, kind, value))


class _XmlReader:
    """Walks the measures of a staff and writes down one voice."""

    def __init__(self, staff: _Staff, *, lowest: bool, places: bool, name: str) -> None:
        self.staff = staff
        self.places = places
        self.name = name
        self.draft = VoiceDraft(lowest=lowest)
        self.gone = self.draft.gone
        self.remarks = self.draft.remarks
        self.divisions = Fraction(1)
        self.transpose = Interval(0, 0)
        self.bar = _Bar()
        self.began = Fraction(0)
        self.voice = ""
        self.verse = ""

    def voices(self) -> list[str]:
        """The voices of the staff in the order in which they first appear."""
        notes = (note for note in self.staff.part.iter("note") if self._mine(note))
        return list(dict.fromkeys(_text(note, "voice") or "1" for note in notes))

    def _mine(self, element: Element) -> bool:
        return (_text(element, "staff") or "1") == str(self.staff.number)

    def read(self, voice: str) -> None:
        """Every measure."""
        self.voice = voice
        measures = self.staff.part.findall("measure")
        check_count(len(measures), "bars", self.name)
        for measure in measures:
            self.began = Fraction(0)
            self.bar = _Bar(one_line(measure.get("number", ""))[:12])
            self.draft.end_bar()
            for element in measure:
                self._take(element)
                self.bar.end = max(self.bar.end, self.bar.now)
            self._write_down()
            check_count(len(self.draft.sounds), "notes", self.name)

    def _where(self) -> str:
        return f"{self.name}, bar {self.bar.number}"

    def _number(self, element: Element, tag: str, usual: int = 0) -> Fraction:
        """The number in a child, which music keeps small."""
        text = _text(element, tag)
        if not text:
            return Fraction(usual)
        if not _NUMBER.fullmatch(text) or abs(Fraction(text)) > _MOST[tag]:
            raise ScoreFileError(f'{self._where()}: the {tag} "{text[:20]}" is beyond all music')
        return Fraction(text)

    # -- the walk through a measure ----------------------------------------------------------

    def _take(self, element: Element) -> None:
        """One element of a measure."""
        match element.tag:
            case "note":
                self._note(element)
            case "backup":
                self.bar.now = max(self.bar.now - self._duration(element), Fraction(0))
            case "forward":
                self.bar.now += self._duration(element)
            case "attributes":
                self._attributes(element)
            case "direction" | "sound":
                self._direction(element)
            case "harmony":
                self._harmony(element)
            case "barline":
                self._barline(element)

    def _duration(self, element: Element) -> Fraction:
        if element.find("grace") is not None:
            return Fraction(0)
        return abs(self._number(element, "duration")) / self.divisions

    def _note(self, note: Element) -> None:
        """A note, which begins where the walk stands, or with the note before in a chord."""
        if note.find("chord") is None:
            self.began = self.bar.now
            self.bar.now += self._duration(note)
        if not self._mine(note) or (_text(note, "voice") or "1") != self.voice:
            return
        notes = self.bar.notes
        if note.find("grace") is not None:
            self.gone["grace note"] += 1
        elif note.find("cue") is not None:
            self.gone["cue note"] += 1
        elif note.find("chord") is not None:
            if notes and notes[-1][0] == self.began:
                notes[-1][2].append(note)
        elif (length := self._length(note)) > 0:
            notes.append((self.began, length, [note]))
        self.gone.update(_other_signs(note))

    def _length(self, note: Element) -> Fraction:
        """The duration, or the written value where it is nearly the same."""
        length = self._duration(note)
        plain = _LENGTHS.get(_text(note, "type"))
        if plain is None:
            return length
        written = plain * (2 - Fraction(1, 2 ** min(len(note.findall("dot")), 8)))
        modification = note.find("time-modification")
        if modification is not None:
            actual = self._number(modification, "actual-notes", 1)
            written *= self._number(modification, "normal-notes", 1) / (actual or 1)
        if length != written and abs(length - written) < _NEAR * written:
            self.remarks.append(Remark("rounded", "lengths to the notes that are written"))
            return written
        return length

    def _attributes(self, element: Element) -> None:
        if element.find("divisions") is not None:
            self.divisions = self._number(element, "divisions")
            if self.divisions <= 0:
                raise ScoreFileError(f"{self.name} cannot be read: its divisions are 0")
        staff = str(self.staff.number)
        mine = [child for child in element if child.get("number", staff) == staff]
        for child in mine:
            if child.tag == "transpose":
                self._transpose(child)
        for child in mine:
            if child.tag == "key":
                self._key(child)
            elif child.tag == "time" and (meter := self._meter(child)):
                self.bar.sign("meter", meter)
            elif child.tag == "measure-style":
                self.gone.update(_other_signs(child))

    def _transpose(self, element: Element) -> None:
        semitones = int(self._number(element, "chromatic"))
        octaves = int(self._number(element, "octave-change"))
        if element.find("diatonic") is not None:
            steps = int(self._number(element, "diatonic"))
        else:
            steps = (Pitch.from_midi(60 + semitones, -5) - Pitch.spelled("C", 0, 4)).steps
        self.transpose = Interval(steps + 7 * octaves, semitones + 12 * octaves)

    def _key(self, element: Element) -> None:
        if element.find("fifths") is None:
            self.gone["free key signature"] += 1
            return
        mode = _text(element, "mode") or None
        if mode is None:
            self.remarks.append(
                Remark("guessed", "a key signature without a mode is read as major")
            )
        fifths = int(self._number(element, "fifths")) + self.transpose.fifths
        self.bar.sign("key", key_of_signature(fifths, mode))

    def _meter(self, element: Element) -> Meter | None:
        beats = [beats for child in element.findall("beats") for beats in _sum(child.text or "")]
        types = [(child.text or "").strip() for child in element.findall("beat-type")]
        units = {int(text) for text in types if text.isdecimal() and len(text) < 4}
        if any(n > _MOST["beats"] for n in beats):
            raise ScoreFileError(
                f"{self._where()}: it has {max(beats)} as its beats, 99 is the most"
            )
        try:
            return Meter(sum(beats), units.pop()) if beats and len(units) == 1 else None
        except FretpathError:
            return None

    # -- directions --------------------------------------------------------------------------

    def _direction(self, element: Element) -> None:
        sound = element if element.tag == "sound" else element.find("sound")
        tempo = self._tempo(element, sound)
        if tempo:
            self.bar.sign("tempo", tempo)
        kinds: list[SignKind] = []
        if sound is not None:
            kinds += [kind for name, kind in _ROAD_ATTRIBUTES.items() if sound.get(name)]
            self.gone["swing mark"] += sound.find("swing") is not None
        for child in element.findall("direction-type/*"):
            if child.tag in ("segno", "coda") and child.tag not in kinds:
                kinds.append(_ROAD_ATTRIBUTES[child.tag])
            elif child.tag == "words":
                word = one_line(child.text or "")
                road = [kind for pattern, kind in _ROAD if pattern.match(word)]
                kinds += [kind for kind in road[:1] if kind not in kinds]  # type: ignore[misc]
                self.gone["written direction"] += bool(word) and not road and not tempo
            elif child.tag in _SAID:
                self.gone[_SAID[child.tag]] += 1
        for kind in dict.fromkeys(kinds):
            if kind in ("segno", "coda"):
                self.bar.sign(kind)
            else:
                self.draft.late.append(kind)

    def _tempo(self, element: Element, sound: Element | None) -> Fraction | None:
        """Quarter notes a minute."""
        text = (sound.get("tempo") or "").strip() if sound is not None else ""
        if _NUMBER.fullmatch(text) and 0 < Fraction(text) <= _MOST["per-minute"]:
            return Fraction(text).limit_denominator(1000)
        mark = element.find("direction-type/metronome")
        unit = _LENGTHS.get(_text(mark, "beat-unit")) if mark is not None else None
        if mark is None or unit is None or not _NUMBER.fullmatch(_text(mark, "per-minute")):
            return None
        dots = len(mark.findall("beat-unit-dot"))
        rate = self._number(mark, "per-minute") * unit * (2 - Fraction(1, 2 ** min(dots, 8)))
        return rate if rate > 0 else None

    def _harmony(self, element: Element) -> None:
        if element.find("staff") is not None and not self._mine(element) and not self.staff.tab:
            return
        offset, at = _text(element, "offset"), self.bar.now
        if _NUMBER.fullmatch(offset):
            at += Fraction(offset) / self.divisions
        name = self._chord_name(element)
        if name:
            self.bar.signs.append((max(at, Fraction(0)), "chord", name))
        else:
            self.gone["rootless chord"] += 1

    def _chord_name(self, element: Element) -> str:
        root, kind = element.find("root"), element.find("kind")
        value = (kind.text or "").strip() if kind is not None else ""
        text = one_line(kind.get("text", "")) if kind is not None else ""
        if value == "none":
            return text or "N.C."
        if root is None:
            return ""
        name = self._note_name(root, "root") + (text or _KINDS.get(value, ""))
        for degree in element.findall("degree") if not text else ():
            alter = int(self._number(degree, "degree-alter"))
            sign = "#" * alter if alter >= 0 else "b" * -alter
            add = "add" if _text(degree, "degree-type") == "add" and not sign else ""
            omit = "no" if _text(degree, "degree-type") == "subtract" else ""
            name += f"{omit or add}{sign}{int(self._number(degree, 'degree-value'))}"
        bass = element.find("bass")
        return name + (f"/{self._note_name(bass, 'bass')}" if bass is not None else "")

    def _note_name(self, element: Element, kind: str) -> str:
        step = _text(element, f"{kind}-step")
        if step not in tuple("ABCDEFG"):
            raise ScoreFileError(f'{self._where()}: "{step[:8]}" is not a {kind} of a chord')
        alter = int(self._number(element, f"{kind}-alter"))
        pitch = Pitch.spelled(step, max(-2, min(2, alter)), 4) + self.transpose
        return pitch.name

    def _barline(self, element: Element) -> None:
        where = element.get("location", "right")
        at = {"left": Fraction(0), "right": _BAR_END}.get(where, self.bar.now)
        self.bar.signs += [(at, kind, value) for kind, value in _bar_signs(element)]
        self.gone["fermata"] += element.find("fermata") is not None

    # -- writing down ------------------------------------------------------------------------

    def _write_down(self) -> None:
        """The sounds in order, a note that begins a little off its neighbor's end put right."""
        bar = self.bar
        shortest = Fraction(1, 64)
        now = Fraction(0)
        timed = []
        for at, length, group in sorted(bar.notes, key=itemgetter(0)):
            if at < now - shortest:
                self.gone["overlapped note"] += 1
                continue
            begin = now if at < now + shortest else at
            timed.append((begin, self._sound(group, length)))
            now = begin + length
        if now < bar.end - shortest:
            timed.append((now, ScoreSound(bar.end - now)))
        chords = sorted({at for at, kind, _ in bar.signs if kind == "chord"})
        self.draft.lay(timed, bar.signs, chords)

    def _sound(self, group: Sequence[Element], length: Fraction) -> ScoreSound:
        notes = [(self._pitch(note), note) for note in group if note.find("pitch") is not None]
        if not notes:
            if group[0].find("unpitched") is not None:
                self.gone["percussion note"] += 1
            return ScoreSound(length)
        pitch, note = self.draft.one_of(notes, lambda pair: pair[0].midi)
        ties = {tie.get("type") for tie in (*note.findall("tie"), *note.findall("notations/tied"))}
        place = self._placement(note) if self.places else None
        return ScoreSound(length, pitch, "stop" in ties, place, self._lyric(group))

    def _pitch(self, note: Element) -> Pitch:
        pitch = note.find("pitch")
        assert pitch is not None
        step, alter = _text(pitch, "step"), self._number(pitch, "alter")
        if step not in tuple("ABCDEFG"):
            raise ScoreFileError(
                f'{self.name} cannot be read: "{step[:8]}" in bar {self.bar.number} is not a letter'
            )
        if alter.denominator != 1:
            self.remarks.append(Remark("rounded", "quarter tones to the note below"))
        octave = int(self._number(pitch, "octave", 4))
        if abs(alter) > 3 or octave < 0:
            raise ScoreFileError(f"{self._where()}: {step} is outside every instrument")
        sounding = Pitch.spelled(step, int(alter // 1), octave) + self.transpose
        if not -1 <= sounding.octave <= 9 or abs(sounding.alter) > 3:
            raise ScoreFileError(f"{self._where()}: {sounding} is outside MIDI")
        return sounding

    def _placement(self, note: Element) -> Placement | None:
        technical = note.find("notations/technical")
        if technical is None:
            return None
        string, fret = (
            int(self._number(technical, tag)) if technical.find(tag) is not None else None
            for tag in ("string", "fret")
        )
        return None if string is None and fret is None else Placement(string, fret)

    def _lyric(self, group: Sequence[Element]) -> str:
        """The syllable of the first verse; the others are counted."""
        for lyric in (lyric for note in group for lyric in note.findall("lyric")):
            number = lyric.get("number", "1")
            self.verse = self.verse or number
            if number != self.verse:
                self.gone["further-verse syllable"] += 1
                continue
            text = " ".join(t for t in (one_line(e.text or "") for e in lyric.findall("text")) if t)
            if text:
                return text + "-" * (_text(lyric, "syllabic") in ("begin", "middle"))
        return ""


def _bar_signs(barline: Element) -> Iterator[tuple[SignKind, object]]:
    """The signs at a bar line: what ends there before what begins there."""
    repeat, ending = barline.find("repeat"), barline.find("ending")
    if ending is not None and ending.get("type") != "start":
        yield "ending stop", None
    if repeat is not None and repeat.get("direction") == "backward":
        times = repeat.get("times", "2")
        yield "stop", int(times) if times in _TIMES else 2
    elif repeat is not None:
        yield "start", None
    if ending is not None and ending.get("type") == "start":
        numbers = tuple(int(n) for n in re.findall(r"\d{1,2}", ending.get("number", "")))
        yield "ending", numbers or (1,)
    for tag in ("segno", "coda"):
        if barline.find(tag) is not None:
            yield _ROAD_ATTRIBUTES[tag], None


_TIMES = tuple(map(str, range(2, 100)))
_BAR_END = Fraction(10**6)  # behind all music


def _text(element: Element, tag: str) -> str:
    return (element.findtext(tag) or "").strip()


def _sum(text: str) -> list[int]:
    """The numbers of ``4`` or ``3 + 2``; 100 for one of more than two digits."""
    parts = [part.strip() for part in text[:80].split("+")]
    return [int(part) if len(part) < 3 else 100 for part in parts if part.isdecimal()]


def _other_signs(element: Element) -> Iterator[str]:
    """Signs at a note that have no place in a melody."""
    for child in element.iter():
        if child.tag in ("slur", "wedge", "glissando", "slide") and child.get("type") == "stop":
            continue
        if child.tag == "articulations":
            yield from (one_line(str(c.tag)).replace("-", " ") for c in child)
        elif child.tag in _SAID:
            yield _SAID[child.tag]


# -- writing ---------------------------------------------------------------------------------------

_MOST_DIVISIONS = 50_000
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


def _xml(
    tag: str, *content: str | int | Element | Iterable[Element] | None, **attributes: str
) -> Element:
    """An element with its text or the elements in it; None is nothing."""
    element = Element(tag, {name.replace("_", "-"): value for name, value in attributes.items()})
    for part in content:
        if isinstance(part, str | int):
            element.text = str(part)
        elif part is not None:
            element.extend([part] if isinstance(part, Element) else list(part))
    return element


class _Page:
    """The facts that every part of the file needs."""

    def __init__(
        self, melody: Melody, instrument: Instrument | None, fingerings: tuple[Fingering, ...]
    ) -> None:
        self.written = Written.of(melody)
        self.melody, self.values = self.written.melody, self.written.values
        self.instrument = instrument
        self.divisions = lcm(*(value.length.denominator for value in self.values))
        if self.divisions > _MOST_DIVISIONS:
            raise RequestError(
                "the lengths of this melody have no common measure that MusicXML could count in; "
                "use fewer kinds of tuplet"
            )
        self.fingerings = dict(zip(self.melody.struck, fingerings, strict=False))
        self.keys, self.meters = dict(self.melody.keys), dict(self.melody.meters)
        self.lyrics, self.chords = dict(self.melody.lyrics), dict(self.melody.chords)
        self.octaves = instrument.written if instrument else 0

    def score(self) -> Element:
        title, source = self.melody.title, self.melody.header("source")
        fields = [
            _xml("miscellaneous-field", _plain(value), name=_PREFIX + name)
            for name, value in marks_of(self.melody)
            if name != "source"
        ]
        first = 0 if self.melody.has_pickup else 1
        bars = enumerate(self.melody.spans(self.melody.bars), start=first)
        return _xml(
            "score-partwise",
            _xml("work", _xml("work-title", _plain(title))) if title else None,
            _xml(
                "identification",
                _xml("encoding", _xml("software", "fretpath")),
                _xml("source", _plain(source)) if source else None,
                _xml("miscellaneous", fields),
            ),
            [_credit(kind, text) for kind, text in (("title", title), ("source", source)) if text],
            _xml("part-list", self._score_part()),
            _xml("part", [self._measure(number, span) for number, span in bars], id="P1"),
            version="4.0",
        )

    def _score_part(self) -> Element:
        made = self.instrument
        if made is None:
            return _xml("score-part", _xml("part-name", "Melody"), id="P1")
        return _xml(
            "score-part",
            _xml("part-name", made.name),
            _xml("score-instrument", _xml("instrument-name", made.name), id="P1-I1"),
            _xml(
                "midi-instrument",
                _xml("midi-channel", 1),
                _xml("midi-program", made.program),
                id="P1-I1",
            ),
            id="P1",
        )

    def _measure(self, number: int, span: range) -> Element:
        implicit = {"implicit": "yes"} if number == 0 else {}
        line = span.start and span.start in self.melody.phrases
        return _xml(
            "measure",
            _xml("print", new_system="yes") if line else None,
            self._left(span.start),
            (element for event in span for element in self._event(event)),
            self._tab_staff(span) if self.instrument else None,
            self._right(span.stop),
            number=str(number),
            **implicit,
        )

    def _event(self, event: int) -> Iterator[Element]:
        """A note, and whatever stands before it."""
        key, meter = self.keys.get(event), self.meters.get(event)
        if not event or key or meter:
            yield _xml("attributes", self._attributes(event, key, meter))
        if not event and self.melody.tempo is not None:
            yield self._tempo(self.melody.tempo)
        if event in self.chords:
            yield _harmony(self.chords[event])
        yield self._note(event, staff=1)

    def _tab_staff(self, span: range) -> Iterator[Element]:
        length = sum((self.values[event].length for event in span), Fraction(0))
        yield _xml("backup", _xml("duration", int(length * self.divisions)))
        for event in span:
            yield self._note(event, staff=2)

    def _left(self, event: int) -> Element | None:
        """The sign of a repeat or an ending that begins with a bar."""
        starts = any(repeat.start == event for repeat in self.melody.repeats)
        number = self._ending_at(event)
        if not starts and not number:
            return None
        return _xml(
            "barline",
            _xml("ending", number=str(number), type="start") if number else None,
            _xml("repeat", direction="forward") if starts else None,
            location="left",
        )

    def _ending_at(self, event: int) -> int:
        """Number of the ending that begins at an event, or 0."""
        for repeat in self.melody.repeats:
            if event in repeat.endings:
                return repeat.endings.index(event) + 1
        return 0

    def _right(self, stop: int) -> Element | None:
        """The sign of a repeat or an ending that ends with a bar, and the end of the piece."""
        last = stop == len(self.melody.notes)
        for repeat in self.melody.repeats:
            if stop in (*repeat.endings[1:], repeat.stop):
                back = not repeat.endings or stop != repeat.stop
                number = self._ending_at(stop) - 1 if back else len(repeat.endings)
                kind = "stop" if back else "discontinue"
                times = {} if repeat.endings else {"times": str(repeat.times)}
                return _xml(
                    "barline",
                    _xml("bar-style", "light-heavy" if back or last else "light-light"),
                    _xml("ending", number=str(number), type=kind) if repeat.endings else None,
                    _xml("repeat", direction="backward", **times) if back else None,
                    location="right",
                )
        return _xml("barline", _xml("bar-style", "light-heavy"), location="right") if last else None

    # -- attributes ------------------------------------------------------------------------------

    def _attributes(self, event: int, key: Key | None, meter: Meter | None) -> Iterator[Element]:
        if event == 0:
            yield _xml("divisions", self.divisions)
        if key:
            mode = _MODES.get(key.scale.parent, key.scale.parent)
            yield _xml("key", _xml("fifths", key.signature), _xml("mode", mode))
        if meter:
            yield _xml("time", _xml("beats", meter.beats), _xml("beat-type", meter.unit))
        if event == 0:
            yield from self._staves()

    def _staves(self) -> Iterator[Element]:
        made = self.instrument
        if made:
            yield _xml("staves", 2)
        low = self._middle() < _MIDDLE_C.midi
        yield _xml(
            "clef",
            _xml("sign", "F" if low else "G"),
            _xml("line", 4 if low else 2),
            _xml("clef-octave-change", -self.octaves) if self.octaves else None,
            **({"number": "1"} if made else {}),
        )
        if made:
            line = max(1, (len(made.strings) + 1) // 2)
            yield _xml("clef", _xml("sign", "TAB"), _xml("line", line), number="2")
            yield _staff_details(made)

    def _middle(self) -> float:
        """Middle of the written range, as a MIDI number; it decides the clef."""
        midi = [pitch.midi for pitch in self.melody.pitches] or [_MIDDLE_C.midi]
        low, high = self.instrument.range if self.instrument else (min(midi), max(midi))
        return min((low + high) / 2, sum(midi) / len(midi)) + 12 * self.octaves

    def _tempo(self, tempo: Fraction) -> Element:
        unit, compound = self.written.unit, is_compound(self.melody.meter)
        metronome = _xml(
            "metronome",
            _xml("beat-unit", _UNITS[unit // 2 if compound else unit]),
            _xml("beat-unit-dot") if compound else None,
            _xml("per-minute", _decimal(tempo / (3 if compound else 1))),
        )
        sound = _xml("sound", tempo=_decimal(tempo * 4 / unit))
        return _xml("direction", _xml("direction-type", metronome), sound, placement="above")

    # -- notes -----------------------------------------------------------------------------------

    def _note(self, event: int, *, staff: int) -> Element:
        note, value = self.melody.notes[event], self.values[event]
        ties = list(self._ties(event))
        lyric = event in self.lyrics and staff == 1
        return _xml(
            "note",
            _xml("rest") if note.pitch is None else _pitch(note.pitch),
            _xml("duration", int(value.length * self.divisions)),
            [_xml("tie", type=kind) for kind in ties],
            _xml("voice", 1 if staff == 1 else 5),
            _looks(value),
            _xml("staff", staff) if self.instrument else None,
            self._beams(event),
            self._notations(event, note, ties, staff),
            self._lyric(event) if lyric else None,
        )

    def _beams(self, event: int) -> Iterator[Element]:
        """Begin, go on with or end each beam; one that has no neighbor is a hook."""
        group = self.written.beams.get(event, range(0))
        for level in range(1, self.values[event].flags + 1 if group else 1):
            before = event > group.start and self.values[event - 1].flags >= level
            behind = event + 1 < group.stop and self.values[event + 1].flags >= level
            hook = "backward hook" if event > group.start else "forward hook"
            word = {(False, True): "begin", (True, True): "continue", (True, False): "end"}
            yield _xml("beam", word.get((before, behind), hook), number=str(level))

    def _lyric(self, event: int) -> Element:
        events = [at for at, _ in self.melody.lyrics]
        place = events.index(event)
        word = self.lyrics[event]
        inside = place > 0 and self.lyrics[events[place - 1]].endswith("-")
        goes_on = word.endswith("-") and word != "-"
        kinds = {(False, False): "single", (False, True): "begin", (True, True): "middle"}
        return _xml(
            "lyric",
            _xml("syllabic", kinds.get((inside, goes_on), "end")),
            _xml("text", _plain(word.removesuffix("-") if goes_on else word)),
            number="1",
        )

    def _ties(self, event: int) -> Iterator[str]:
        note = self.melody.notes[event]
        if note.pitch is not None:
            yield from ["stop"] * note.tied
            yield from ["start"] * self.written.is_held(event)

    def _notations(self, event: int, note: Note, ties: list[str], staff: int) -> Element | None:
        shows = note.pitch is not None and (staff == 2 or self.instrument is None)
        marks = list(self._technical(event, note)) if shows else []
        group = self.written.tuplets.get(event)
        edges = {"start": group.start, "stop": group.stop - 1} if group else {}
        parts = [_xml("tied", type=kind) for kind in ties]
        parts += [
            _xml("tuplet", type=kind, number="1") for kind, at in edges.items() if at == event
        ]
        if marks:
            parts.append(_xml("technical", [_xml(tag, number) for tag, number in marks]))
        return _xml("notations", parts) if parts else None

    def _technical(self, event: int, note: Note) -> Iterator[tuple[str, int]]:
        struck = event
        while self.melody.notes[struck].tied:
            struck -= 1
        played = self.fingerings.get(struck)
        if played and played.finger and struck == event:
            yield "fingering", played.finger
        place = played or note.placement
        if place and place.string is not None:
            yield "string", place.string
        if place and place.fret is not None:
            yield "fret", place.fret


def _credit(kind: str, words: str) -> Element:
    return _xml(
        "credit",
        _xml("credit-type", kind),
        _xml("credit-words", _plain(words), justify="center"),
        page="1",
    )


def _harmony(name: str) -> Element:
    match = _CHORD.fullmatch(name)
    if match is None:
        root = _xml("root", _xml("root-step", "C", text=""))
        return _xml("harmony", root, _xml("kind", "none", text=_plain(name)))
    return _xml(
        "harmony",
        _chord_note("root", match[1], match[2]),
        _xml("kind", _KIND_OF.get(match[3], "other"), text=_plain(match[3])),
        _chord_note("bass", match[4], match[5]) if match[4] else None,
    )


def _chord_note(kind: str, step: str, sign: str | None) -> Element:
    alter = _xml(f"{kind}-alter", alter_of(sign)) if sign else None
    return _xml(kind, _xml(f"{kind}-step", step), alter)


def _looks(value: NoteValue) -> Iterator[Element]:
    yield _xml("type", value.name)
    for _ in range(value.dots):
        yield _xml("dot")
    if value.actual > 1:
        actual, normal = _xml("actual-notes", value.actual), _xml("normal-notes", value.normal)
        yield _xml("time-modification", actual, normal)


def _staff_details(made: Instrument) -> Element:
    return _xml(
        "staff-details",
        _xml("staff-lines", len(made.strings)),
        [
            _xml("staff-tuning", _spelling(string.open, "tuning-"), line=str(line))
            for line, string in enumerate(reversed(made.strings), start=1)
        ],
        _xml("capo", made.capo) if made.capo else None,
        number="2",
    )


def _pitch(pitch: Pitch) -> Element:
    if not 0 <= pitch.octave <= 9:
        raise RequestError(f"{pitch} is outside MusicXML (octaves 0 to 9)")
    return _xml("pitch", _spelling(pitch))


def _spelling(pitch: Pitch, prefix: str = "") -> Iterator[Element]:
    yield _xml(f"{prefix}step", pitch.letter)
    if pitch.alter:
        yield _xml(f"{prefix}alter", pitch.alter)
    yield _xml(f"{prefix}octave", pitch.octave)


def _plain(text: str) -> str:
    """Text without characters that XML 1.0 cannot hold."""
    return re.sub(r"[\x00-\x1f\ud800-\udfff\ufffe\uffff]", "", text)


def _decimal(number: Fraction) -> str:
    return f"{float(number):.6f}".rstrip("0").rstrip(".")
