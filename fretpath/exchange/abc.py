"""ABC 2.1 (standard of December 2011), read and written.

**Conventions of the standard.**  Header lines X: T: M: L: Q: in front, K: last.  ``C`` is C4 and
``c`` is C5; each comma is an octave down, each apostrophe one up.  Accidentals ``^ _ =`` stand
against the key signature and hold to the bar line for their letter in every octave (11.3, the
default of propagate-accidentals); since some readers keep them to one octave, a sign is written
wherever either habit needs it.  ``z`` is a rest, ``-`` a tie, ``(3`` makes three notes of two.
Lengths are multiples of L:, which is 1/8 where neither it nor M: is given, and 1/16 under a meter
smaller than 3/4 (3.1.7).  ``w:`` holds the words, ``"G7"`` is the name of a chord.

**Reading.**  Tokens are matched one behind the other in each line, so that the time grows with
the length of the text and no more.  What has no place in a melody is counted.  A line of the file
is a phrase.  Scales that ABC has no mode for are written under the signature of their parent mode,
with a line ``%%fretpath-key`` behind it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from fractions import Fraction

from fretpath.errors import FretpathError, RequestError, ScoreFileError
from fretpath.exchange.door import check_count, one_line
from fretpath.exchange.melody_of_voice import marks_of
from fretpath.exchange.note_values import Written, bar_length, is_compound
from fretpath.exchange.voices import ScoreSound, SignKind, Voice, VoiceDraft, choose_part
from fretpath.music.key import SCALES, Key
from fretpath.music.melody import Melody, Meter
from fretpath.music.pitch import Pitch, alter_of
from fretpath.remarks import Remark

_ORDER = {1: "FCGDAEB", -1: "BEADGCF"}
_KEYS_OF_BOOKS = {scale.parent[:3]: scale.parent for scale in SCALES.values()}
_MODES = {**_KEYS_OF_BOOKS, "": "major", "maj": "major", "ion": "major", "m": "natural minor"} | {
    "min": "natural minor",
    "aeo": "natural minor",
}
_PIPES = {"HP": "", "Hp": "FC"}
_MARK = "%%fretpath-"

# -- reading ---------------------------------------------------------------------------------------

_TOKEN = re.compile(
    r"""
    (?P<field>\[[A-Za-z]:[^\]\n]*\])
    | (?P<bar>:*(?:\[\||\|[|\]]*)(?P<again>:*)|:{2,})(?:\s*\[?(?P<number>\d+(?:[,-]\d+)*))?
    | (?P<bracket>\[)?(?P<ending>\d+(?:[,-]\d+)*)
    | (?P<note>(?P<signs>[\^_=]{0,2})(?P<letter>[A-Ga-g])(?P<octave>[,']{0,9})
      (?P<length>\d{0,6}/*\d{0,6})(?P<tie>\s*-)?)
    | (?P<rest>[xzXZ])(?P<pause>\d{0,6}/*\d{0,6})
    | \((?P<p>\d{1,2})(?::(?P<q>\d?)(?::(?P<r>\d{0,2}))?)?
    | (?P<broken>>{1,3}|<{1,3})
    | "(?P<word>[^"\n]*)"
    | (?P<grace>\{[^}\n]*\})
    | [!+](?P<sign>[^!+|\s]{1,40}|D\.?[CS]\.?\ al\ ?(?:fine|coda))[!+]
    | (?P<open>\[)
    | (?P<close>\](?P<size>\d{0,6}/*\d{0,6})(?P<held>\s*-)?)
    | (?P<dot>[H-Wh-w~.])
    | (?P<slur>\()
    | (?P<other>\S)
    """,
    re.VERBOSE,
)
_OLD_CHORD = re.compile(r"\+((?:[\^_=]*[A-Ga-g][,']*[\d/]*){2,})\+")
_CHORD = re.compile(r"[A-G][#b]?(?:[a-zA-Z0-9#+()/\N{DEGREE SIGN}-]{0,20})|N\.?C\.?")
_TYPED = str.maketrans("\N{MUSIC FLAT SIGN}\N{MUSIC SHARP SIGN}", "b#")
_SILENT = frozenset("()`y*\\$;]@#?_'!+-")
_ORNAMENTS = {
    "T": "trill", "~": "ornament", "H": "fermata", "M": "ornament", "P": "ornament", "O": "coda",
    "S": "segno", "L": "accent", "u": "bowing", "v": "bowing", "J": "slide", "R": "roll",
    ".": "staccato dot",
}  # fmt: skip
_ROAD: dict[str, SignKind] = {
    "segno": "segno", "coda": "coda", "fine": "fine", "d.c.": "da capo", "dacapo": "da capo",
    "d.s.": "dal segno", "dacoda": "to coda", "d.c.alfine": "da capo", "d.c.alcoda": "da capo",
    "d.s.alfine": "dal segno", "d.s.alcoda": "dal segno",
}  # fmt: skip
_REMARK = re.compile(r"(?<!\\)%.*")
_FIELD = re.compile(r"([A-Za-z+]):(.*)")
_LENGTH = re.compile(r"(\d*)(/*)(\d*)")


def read_abc(text: str, part: str | None, *, lowest: bool, name: str) -> Voice:
    """One voice of an ABC tune; *part* is its number, its name, or both as ``2.1``."""
    reader = _AbcReader(name, lowest)
    reader.read(text)
    lines = [line for line in reader.lines.values() if line.struck]
    if not lines:
        raise ScoreFileError(f"{name} holds no pitched note that could be played")
    index, voice, said = choose_part([line.name for line in lines], part, name)
    if voice != 1:
        raise RequestError(f"{name}: the voices of ABC are parts; ask for --part {index + 1}")
    line = lines[index]
    line.gone += reader.gone
    return line.voice(reader.title, reader.marks.items(), (*said, *reader.remarks))


@dataclass(kw_only=True)
class _Line(VoiceDraft):
    """One voice, token by token, and what holds for its next notes."""

    source: str
    """Name of the file, for messages."""
    row: int = 0
    """Line of the file that is read."""
    name: str
    unit: Fraction
    """Length of a note without a number, in quarter notes."""
    key: Key | None = None
    signature: dict[str, int] = field(default_factory=dict)
    meter: Meter | None = None
    octave: int = 0
    """Octaves by which it sounds above what is written."""
    held: dict[str, int] = field(default_factory=dict)
    """Accidentals in force in this bar, by letter."""
    tie: bool = False
    chord: str = ""
    """Name of the chord that begins with the next sound."""
    broken: Fraction = Fraction(1)
    """By which the next note is longer or shorter."""
    tuplet: tuple[Fraction, int] = (Fraction(1), 0)
    """Factor, and for how many notes it still holds."""
    inner: list[tuple[Pitch, Fraction]] | None = None
    """Notes of the chord that is open."""
    inner_tie: bool = False
    words_from: int | None = 0
    """First sound of the line of music that a w: line belongs to; None once it has its words."""
    ending: bool = False

    @property
    def where(self) -> str:
        """The place that is read, for messages."""
        return f"{self.source}, line {self.row}"

    @property
    def struck(self) -> bool:
        """Whether it has a note at all."""
        return any(sound.pitch for sound in self.sounds)

    def set_key(self, key: Key | None, signature: dict[str, int]) -> None:
        """A new key signature; accidentals end."""
        self.key, self.signature, self.held = key, signature, {}
        if key:
            self.sign("key", key)

    def note(self, match: re.Match[str]) -> None:
        """A note, alone or in a chord that is open."""
        letter = match["letter"].upper()
        signs = match["signs"]
        if signs:
            self.held[letter] = _alter(signs)
        alter = self.held.get(letter, self.signature.get(letter, 0))
        octaves = match["octave"].count("'") - match["octave"].count(",") + self.octave
        octave = 4 + octaves + match["letter"].islower()
        if not -1 <= octave <= 9:
            raise ScoreFileError(f"{self.where}: {match['note'][:20]} is outside MIDI")
        pitch = Pitch.spelled(letter, alter, octave)
        length = self._length(match["length"])
        if self.inner is not None:
            self.inner.append((pitch, length))
            self.inner_tie |= bool(match["tie"])
        else:
            self._add(pitch, length, signed=bool(signs))
            self.tie = bool(match["tie"])

    def _add(self, pitch: Pitch | None, length: Fraction, *, signed: bool = True) -> None:
        factor, left = self.tuplet
        if left:
            self.tuplet = (factor, left - 1)
        whole = length * self.unit * self.broken * (factor if left else 1)
        if whole <= 0:
            raise ScoreFileError(f"{self.where}: a note of no length")
        if self.chord:
            self.sign("chord", self.chord)
        tied = self.tie and pitch is not None
        self.sounds.append(ScoreSound(whole, pitch, tied, signed=signed))
        self.broken, self.chord, self.tie = Fraction(1), "", False

    def rest(self, match: re.Match[str]) -> None:
        """A rest, or so many bars of rest."""
        length = self._length(match["pause"])
        if match["rest"] not in "XZ":
            self._add(None, length)
            return
        if self.meter is None or length.denominator != 1:
            raise ScoreFileError(f"{self.where}: Z rests for whole bars, which need a meter M:")
        check_count(len(self.sounds) + int(length), "bars", self.source)
        for number in range(int(length)):
            if number:
                self.sign("bar")
            self._add(None, bar_length(self.meter) / self.unit)

    def close_chord(self, match: re.Match[str]) -> None:
        """Keep one note of the chord that was open."""
        inner, self.inner = self.inner, None
        if not inner:
            return
        pitch, _ = self.one_of(inner, lambda pair: pair[0].midi)
        self._add(pitch, inner[0][1] * self._length(match["size"]))
        self.tie = self.inner_tie or bool(match["held"])

    def _length(self, text: str) -> Fraction:
        match = _LENGTH.fullmatch(text)
        assert match is not None
        if len(match[1]) > 4 or len(match[3]) > 4 or match[3].strip("0") == "" != match[3]:
            raise ScoreFileError(f"{self.where}: {text[:12]} is not a length of a note")
        below = int(match[3]) if match[3] else 2 ** len(match[2])
        if len(match[2]) > 8:
            raise ScoreFileError(f"{self.where}: {text[:12]} is not a length of a note")
        return Fraction(int(match[1] or 1), below)

    def begin_tuplet(self, match: re.Match[str]) -> None:
        """(p:q:r is p notes in the time of q for the next r (ABC 2.1, 4.13)."""
        p = int(match["p"])
        compound = self.meter is not None and self.meter.unit == 8 and self.meter.beats % 3 == 0
        usual = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}.get(p, 3 if compound else 2)
        q, r = int(match["q"] or usual), int(match["r"] or p)
        if p == 0 or q == 0:
            raise ScoreFileError(f"{self.where}: {match[0][:12]} is not a tuplet")
        self.tuplet = (Fraction(q, p), r)

    def break_rhythm(self, signs: str) -> None:
        """``a>b`` lengthens a by half of its own and shortens b as much; ``<`` the other way."""
        part = Fraction(1, 2 ** len(signs))
        before, self.broken = (2 - part, part) if signs[0] == ">" else (part, 2 - part)
        if self.sounds:
            last = self.sounds[-1]
            self.sounds[-1] = replace(last, length=last.length * before)

    def bar_line(self, match: re.Match[str]) -> None:
        """A bar line with the signs of repeats at it."""
        bar = match["bar"]
        self.held = {}
        self.end_bar()
        before = len(bar) - len(bar.lstrip(":"))
        after = len(match["again"] or "")
        if set(bar) == {":"}:
            before = after = 1
        if before:
            self.sign("stop", before + 1)
        if self.ending and (before or after or len(bar.strip(":")) > 1):
            self.sign("ending stop")
            self.ending = False
        if after:
            self.sign("start")
        if match["number"]:
            self.begin_ending(match["number"])

    def begin_ending(self, text: str) -> None:
        """The ending with these numbers, such as ``1,3-4``."""
        numbers: list[int] = []
        for part in text.split(","):
            match = re.fullmatch(r"(\d{1,2})(?:-(\d{1,2}))?", part)
            if not match:
                return
            numbers.extend(range(int(match[1]), int(match[2] or match[1]) + 1))
        self.sign("ending", tuple(numbers))
        self.ending = True

    def word(self, word: str) -> None:
        """Words over the music: the name of a chord, or something left out."""
        name = one_line(word).translate(_TYPED)
        if not _CHORD.fullmatch(name):
            self.gone["annotation"] += 1
        elif self.chord:
            self.gone["doubled chord name"] += 1
        else:
            self.chord = name

    def other_sign(self, match: re.Match[str]) -> None:
        """A decoration: a sign of the road, or something left out."""
        if match["grace"]:
            self.gone["grace note"] += len(re.findall(r"[A-Ga-g]", match["grace"]))
            return
        sign = match["sign"] or _ORNAMENTS.get(match["dot"] or "", "")
        road = _ROAD.get(sign.replace(" ", "").lower()) if sign else None
        if road in ("segno", "coda"):
            self.sign(road)
        elif road:
            self.late.append(road)
        elif match["sign"] or match["dot"]:
            self.gone[_kind_of_sign(sign)] += 1
        elif match["slur"]:
            self.gone["slur"] += 1
        elif match["other"] == "&":
            self.gone["overlaid voice"] += 1
        elif match["other"] == "-":
            self.tie = bool(self.sounds)
        elif match["other"] not in _SILENT:
            self.gone["unknown sign"] += 1

    def sing(self, text: str) -> None:
        """Lay a w: line under the notes of the line of music before it (ABC 2.1, 5.1)."""
        if self.words_from is None:
            self.gone["further verse"] += 1
            return
        notes = [i for i in range(self.words_from, len(self.sounds)) if self.sounds[i].pitch]
        bars = sorted(sign.at for sign in self.signs if sign.kind == "bar")
        self.words_from, at = None, 0
        for word in re.findall(r"\\-|[^\s\-_*|]+-?|[-_*|]", text.replace("\\-", "\N{HYPHEN}")):
            if at >= len(notes):
                self.gone["spare syllable"] += 1
            elif word == "|":
                later = [b for b in bars if b > notes[at]] or [len(self.sounds)]
                at = next((i for i, n in enumerate(notes) if n >= later[0]), len(notes))
            elif word in ("_", "*", "-"):
                at += 1
            else:
                lyric = one_line(word.replace("~", " ").replace("\N{HYPHEN}", "-"))[:60]
                self.sounds[notes[at]] = replace(self.sounds[notes[at]], lyric=lyric)
                at += 1


class _AbcReader:
    """Takes a tune apart, line by line and token by token."""

    def __init__(self, name: str, lowest: bool) -> None:
        self.name = name
        self.line = _Line(lowest=lowest, source=name, name="voice 1", unit=Fraction(1, 2))
        self.lines = {"1": self.line}
        self.remarks: list[Remark] = []
        self.gone: Counter[str] = Counter()
        self.marks: dict[str, str] = {}
        self.title = ""
        self.number = 0
        self.unit_known = self.voice_named = self.body = self.joined = False

    def read(self, text: str) -> None:
        """The whole tune."""
        for number, row in enumerate(text.split("\n"), start=1):
            self.number = number
            row = row if row.startswith("%") else _REMARK.sub("", row)
            if row.startswith(_MARK):
                self._mark(*row.removeprefix(_MARK).split(" ", 1))
            elif row.startswith("%") or not row.strip():
                continue
            elif match := _FIELD.match(row):
                self._field(match[1], match[2].strip().replace(r"\%", "%"))
            elif self.body:
                self._music(row)

    def _voice(self, label: str) -> _Line:
        if label not in self.lines:
            check_count(len(self.lines) + 1, "parts", self.name)
            first = next(iter(self.lines.values()))
            self.lines[label] = _Line(
                lowest=first.lowest,
                source=self.name,
                name=f"voice {label}",
                unit=first.unit,
                key=first.key,
                signature=first.signature,
                meter=first.meter,
                signs=[sign for sign in first.signs if sign.at == 0 and sign.kind in _OPENING],
            )
        return self.lines[label]

    # -- fields ------------------------------------------------------------------------------

    def _field(self, letter: str, value: str) -> None:
        match letter:
            case "T":
                self.title = self.title or value
            case "S":
                self.marks["source"] = value
            case "V":
                self._take_up_voice(value)
            case "M":
                self._set_meter(value)
            case "L":
                self._set_unit(value)
            case "Q":
                self._set_tempo(value)
            case "K":
                self._set_key(value)
            case "w":
                self.line.sing(value)
            case _ if letter in _SAID and not self.body:
                self.gone[_SAID[letter]] += 1

    def _take_up_voice(self, value: str) -> None:
        label = (value.split() or ["1"])[0][:40]
        if not self.voice_named and not self.line.sounds:
            self.lines = {label: self.line}  # the first voice that is named
            self.line.name = f"voice {label}"
        self.voice_named = True
        self.line = self._voice(label)
        self.line.row = self.number
        named = re.search(r'(?:nm|name)="([^"]*)"', value)
        self.line.name = one_line(named[1])[:40] if named else self.line.name
        self._clef(self.line, value)

    def _set_meter(self, value: str) -> None:
        meter = self._meter(value)
        for line in self._meant():
            line.meter = meter
            if meter:
                line.sign("meter", meter)
            if not self.body and not self.unit_known:
                small = meter is not None and 4 * meter.beats < 3 * meter.unit
                line.unit = Fraction(1, 4) if small else Fraction(1, 2)

    def _set_unit(self, value: str) -> None:
        match = re.fullmatch(r"(\d{1,3})(?:/(\d{1,4}))?", value.replace(" ", ""))
        if match is None or not int(match[1]) or not int(match[2] or 1):
            raise ScoreFileError(f'{self._where()}: "{value[:20]}" is not a length; write L:1/8')
        self.unit_known = True
        for line in self._meant():
            line.unit = Fraction(4 * int(match[1]), int(match[2] or 1))

    def _set_tempo(self, value: str) -> None:
        plain = re.sub(r'"[^"]*"', " ", value)
        match = re.fullmatch(
            r"\s*(?:(?P<beats>\d{1,2}/\d{1,3}(?:\s+\d{1,2}/\d{1,3}){0,4})\s*=)?\s*(?:C\d?=)?"
            r"(?P<rate>\d{1,4}(?:\.\d{1,3})?)\s*",
            plain,
        )
        beats = [Fraction(b) for b in match["beats"].split()] if match and match["beats"] else []
        if match is None or "0/" in f" {match['beats']}".replace("10/", ""):
            self.gone["tempo word"] += 1
            return
        beat = 4 * sum(beats, Fraction(0)) or self.line.unit
        for line in self._meant():
            line.sign("tempo", Fraction(match["rate"]) * beat)

    def _set_key(self, value: str) -> None:
        key, signature = self._key(value)
        for line in self._meant():
            line.set_key(key, signature)
            self._clef(line, value)
        self.body = True

    def _meant(self) -> list[_Line]:
        """The voices a field speaks of: all in the header, one in the music."""
        return [self.line] if self.body else list(self.lines.values())

    def _meter(self, value: str) -> Meter | None:
        plain = {"C": "4/4", "C|": "2/2", "": "none"}.get(value, value).replace(" ", "")
        match = re.fullmatch(r"\(?(\d{1,2}(?:\+\d{1,2}){0,8})\)?/(\d{1,2})", plain)
        try:
            return Meter(sum(map(int, match[1].split("+"))), int(match[2])) if match else None
        except FretpathError:
            return None

    def _key(self, value: str) -> tuple[Key | None, dict[str, int]]:
        """The key, and what each letter is altered by."""
        words = value.split()
        if words and words[0] in _PIPES:
            signature = dict.fromkeys(_PIPES[words[0]], 1)
            return Key("D" if signature else "A", "major" if signature else "mixolydian"), signature
        match = re.match(r"([A-G])([#b]?)\s*([A-Za-z]{0,12})", value)
        if match is None:
            none = value[:4].lower() == "none"
            return (None, {}) if none else (self.line.key, self.line.signature)
        mode = _MODES.get(match[3] if match[3] == "m" else match[3].lower()[:3])
        if mode is None and match[3].lower() not in _NO_MODE and match[3]:
            self.remarks.append(Remark("guessed", f"K:{one_line(value)[:20]} is read as major"))
        key = Key(match[1] + match[2], mode or "major")
        if abs(key.signature) > 7:
            raise ScoreFileError(f"{self._where()}: {key} has no key signature")
        explicit = re.findall(r"(?<=\s)([\^_=]{1,2})([A-Ga-g])(?=\s|$)", value)
        signature = {} if " exp" in value else _signature_of(key)
        signature |= {letter.upper(): _alter(signs) for signs, letter in explicit}
        return key, signature

    def _clef(self, line: _Line, value: str) -> None:
        match = re.search(r"(?:treble|bass|alto|tenor|clef=\S*)([+-]8)\b", value)
        moved = re.search(r"\boctave=(-?\d)\b", value)
        if match or moved:
            line.octave = int(moved[1]) if moved else int(match[1]) // 8  # type: ignore[index]
        if re.search(r"\btranspose=-?[1-9]", value):
            self.remarks.append(Remark("left out", "transpose= of a voice: read as it is written"))

    def _mark(self, name: str, value: str = "") -> None:
        """A comment that fretpath wrote for itself."""
        if name != "key":
            self.marks[name] = value
            return
        with suppress(FretpathError):
            key = Key.parse(one_line(value))
            for line in self._meant():
                if line.key and line.key.signature == key.signature:
                    here = ("key", len(line.sounds))
                    line.signs = [
                        replace(s, value=key) if (s.kind, s.at) == here else s for s in line.signs
                    ]

    def _where(self) -> str:
        return f"{self.name}, line {self.number}"

    # -- music -------------------------------------------------------------------------------

    def _music(self, row: str) -> None:
        line = self.line
        line.row = self.number
        if not self.joined:
            line.words_from = len(line.sounds)
            line.sign("phrase")
        self.joined = row.rstrip().endswith("\\")
        row = _OLD_CHORD.sub(r"[\1]", row)
        for match in _TOKEN.finditer(row):
            self._token(match)
        check_count(len(self.line.sounds), "notes", self.name)

    def _token(self, match: re.Match[str]) -> None:
        line, kind = self.line, match.lastgroup
        if match["note"]:
            line.note(match)
        elif match["bar"]:
            line.bar_line(match)
        elif match["rest"]:
            line.rest(match)
        elif match["field"]:
            letter, _, value = match["field"][1:-1].partition(":")
            self._field(letter, value.strip())
        elif match["ending"]:
            if match["bracket"] or (line.signs[-1:] and line.signs[-1].at == len(line.sounds)):
                line.begin_ending(match["ending"])
            else:
                line.gone["number"] += 1
        elif match["p"]:
            line.begin_tuplet(match)
        elif match["broken"]:
            line.break_rhythm(match["broken"])
        elif kind == "word":
            line.word(match["word"])
        elif match["open"]:
            line.inner, line.inner_tie = [], False
        elif match["close"]:
            line.close_chord(match)
        else:
            line.other_sign(match)


_OPENING = ("key", "meter", "tempo")
_SAID = {"C": "composer", "A": "author", "R": "rhythm name", "P": "part order"}
_NO_MODE = ("clef", "treble", "bass", "alto", "tenor", "exp", "octave", "transpose", "middle",
            "stafflines", "perc", "none", "staff")  # fmt: skip


def _kind_of_sign(sign: str) -> str:
    known = {"trill", "fermata", "accent", "slide", "roll", "bowing", "staccato dot"}
    return sign if sign in known else "ornament"


def _alter(signs: str) -> int:
    return signs.count("^") - signs.count("_")


# -- writing ---------------------------------------------------------------------------------------

_WRITTEN_MODES = {
    "major": "",
    "natural minor": "m",
    "dorian": "dor",
    "phrygian": "phr",
    "lydian": "lyd",
    "mixolydian": "mix",
    "locrian": "loc",
}


def write_abc(melody: Melody, *, number: int = 1) -> str:
    """The melody as an ABC tune with reference number ``number``; ends with a newline.

    Raises :class:`RequestError` for what ABC has no sign for.
    """
    if not repeats_fit(melody):
        melody = melody.expanded()
    written = Written.of(melody)
    melody, unit = written.melody, written.unit
    lines = [f"X:{number}", f"T:{_line(melody.title) or 'untitled'}"]
    if melody.header("source"):
        lines.append(f"S:{_line(melody.header('source'))}")
    lines.append(f"M:{melody.meter or 'none'}")
    lines.append(f"L:1/{unit}")
    if melody.tempo is not None:
        beat = 3 if is_compound(melody.meter) else 1
        lines.append(f"Q:{beat}/{unit}={float(melody.tempo / beat):g}")
    kept = dict(marks_of(melody))
    lines += [f"{_MARK}{n} {kept[n]}" for n in ("octave", "teaches", "level") if n in kept]
    lines += _key_lines(melody.key)
    return "\n".join([*lines, *_music(written)]) + "\n"


def repeats_fit(melody: Melody) -> bool:
    """Whether signs tell the repeats so that all readers play the same.

    They differ in the sign for three times, and in a tie from before a sign to behind it.
    """
    behind = {at for r in melody.repeats for at in (*r.endings[1:], r.stop)} - {len(melody.notes)}
    often = any(repeat.times > 2 and not repeat.endings for repeat in melody.repeats)
    return not often and not any(melody.notes[at].tied for at in behind)


def _music(written: Written) -> Iterator[str]:
    melody = written.melody
    keys, meters = dict(melody.keys), dict(melody.meters)
    signs = _bar_signs(melody)
    words = _words(written)
    beams = {event for event, group in written.beams.items() if event > group.start}
    for span in melody.spans(melody.phrases):
        if span.start and span.start in meters:
            yield f"M:{meters[span.start]}"
        if span.start and span.start in keys:
            yield from _key_lines(keys[span.start])
        row = signs.get(span.start, ("", ""))[1]
        for event in span:
            closing, opening = signs.get(event, ("", "")) if event > span.start else ("", "")
            bar = closing + opening
            if opening == "|:":
                bar = "::" if closing == ":|" else opening
            row += f" {bar}" if bar else ""
            row += words[event] if event in beams and not bar else f" {words[event]}"
        yield f"{row} {signs.get(span.stop, ('', ''))[0]}".strip()
        yield from _lyric_line(melody, span)


def _bar_signs(melody: Melody) -> dict[int, tuple[str, str]]:
    """The signs that close a bar before an event, and what opens the next one."""
    signs = dict.fromkeys(melody.bars, ("|", "")) | {len(melody.notes): ("|]", "")}
    for repeat in melody.repeats:
        stops = (*repeat.endings[1:], repeat.stop) if repeat.endings else (repeat.stop,)
        for at in stops:
            signs[at] = (":|", signs[at][1])
        if repeat.endings:
            signs[repeat.stop] = ("|]" if repeat.stop == len(melody.notes) else "||", "")
        for number, at in enumerate(repeat.endings, start=1):
            signs[at] = (signs[at][0], f"[{number}")
        signs[repeat.start] = (signs.get(repeat.start, ("", ""))[0], "|:")
    return signs


def _lyric_line(melody: Melody, span: range) -> Iterator[str]:
    """The w: line of a phrase: a syllable, a star or, for a note held over, a line for each."""
    lyrics = dict(melody.lyrics)
    words = []
    for event in span:
        note = melody.notes[event]
        if event in lyrics:
            word = lyrics[event]
            body, goes_on = (word[:-1], "-") if word.endswith("-") else (word, "")
            body = body.replace("-", r"\-").replace("_", " ").replace("*", " ").replace(" ", "~")
            words.append(body.replace("%", r"\%") + goes_on)
        elif note.pitch is not None:
            words.append("_" if note.tied else "*")
    if any(event in lyrics for event in span):
        yield "w: " + " ".join(words)


def _words(written: Written) -> list[str]:
    """Each event as it stands between bar lines."""
    melody = written.melody
    bars, keys, chords = set(melody.bars), dict(melody.keys), dict(melody.chords)
    signature = _signature_of(melody.key)
    held: dict[str, int] = {}
    words = []
    for event, (note, value) in enumerate(zip(melody.notes, written.values, strict=True)):
        if event in keys:
            signature = _signature_of(keys[event])
        if event in bars or event in keys:
            held = {}
        word = f'"{_chord(chords[event])}"' if event in chords else ""
        group = written.tuplets.get(event)
        if group and event == group.start:
            word += _tuplet_sign(value.actual, value.normal, len(group))
        word += "z" if note.pitch is None else _tone(note.pitch, signature, held)
        word += _length(value.length * value.actual / value.normal * written.unit / 4)
        words.append(word + "-" * written.is_held(event))
    return words


def _tuplet_sign(actual: int, normal: int, count: int) -> str:
    return "(3" if (actual, normal, count) == (3, 2, 3) else f"({actual}:{normal}:{count}"


def _tone(pitch: Pitch, signature: dict[str, int], held: dict[str, int]) -> str:
    """The note with the accidental it needs here; what it sets is kept in ``held``."""
    if abs(pitch.alter) > 2:
        raise RequestError(f"ABC has no sign for {pitch}: two sharps or flats are the most")
    place = f"{pitch.letter}{pitch.octave}"
    plain = signature.get(pitch.letter, 0)
    sign = ""
    known = {held.get(place, plain), held.get(pitch.letter, plain)}
    if known != {pitch.alter} or abs(pitch.alter) == 2:  # music21 carries on one sign of two
        sign = ("__", "_", "=", "^", "^^")[pitch.alter + 2]
        held[place] = held[pitch.letter] = pitch.alter
    if pitch.octave >= 5:
        return sign + pitch.letter.lower() + "'" * (pitch.octave - 5)
    return sign + pitch.letter + "," * (4 - pitch.octave)


def _length(units: Fraction) -> str:
    if units == 1:
        return ""
    return str(units.numerator) if units.denominator == 1 else str(units)


def _signature_of(key: Key | None) -> dict[str, int]:
    """The alteration of each letter under the key signature."""
    count = key.signature if key else 0
    sign = 1 if count > 0 else -1
    letters = _ORDER[sign][: abs(count)]
    return dict.fromkeys(letters, sign)


def _key_lines(key: Key | None) -> Iterator[str]:
    if key is None:
        yield "K:none"
        return
    if abs(key.signature) > 7 or abs(alter_of(key.tonic[1:])) > 1:
        raise RequestError(f"{key} has no key signature in ABC; write it enharmonically")
    yield f"K:{key.tonic}{_WRITTEN_MODES[key.scale.parent]}"
    if key.scale.name != key.scale.parent:
        yield f"{_MARK}key {key}"


def _chord(name: str) -> str:
    return name.replace('"', "'").replace("%", r"\%")


def _line(text: str) -> str:
    return one_line(text).replace("%", r"\%")
