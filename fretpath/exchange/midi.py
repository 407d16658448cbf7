"""Standard MIDI files (SMF 1.0, MIDI Manufacturers Association), read and written.

**Written** files are format 0, 5040 ticks a quarter note (all lengths down to 64th notes,
triplets, quintuplets and septuplets are whole ticks), channel 1, the sounding octave, the General
MIDI Level 1 program of the instrument.  Repeats are played.  A pickup is a first bar with a meter
of its own.  A note lasts its whole length.  Words are lyric events; phrases, headers and scales
beyond major and minor are text events that begin with ``fretpath-``.

**Read**: the bytes are taken apart here, in one pass that keeps notes and signs and nothing else,
so that a file of controllers costs no memory.  If the onsets are not on a grid (a file that was
played, not written), they are rounded to quarters and thirds of a quarter note, and this is said;
a note that is let go a little early (75 to 98 hundredths of the way to the next one) lasts until
the next.  MIDI numbers have no spelling: the key signature gives one, or the signature under
which most notes are natural.
"""

from __future__ import annotations

import struct
from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby, pairwise

from fretpath.errors import FretpathError, RequestError, ScoreFileError
from fretpath.exchange.door import LIMITS, check_count, one_line
from fretpath.exchange.repeats import Sign
from fretpath.exchange.values import quarters
from fretpath.exchange.voices import (
    ScoreSound,
    Voice,
    chosen_part,
    key_of_signature,
    left_out,
    marks_of,
)
from fretpath.music.key import Key
from fretpath.music.keyfinding import find_key, spell_line
from fretpath.music.melody import Melody, Meter, Note
from fretpath.music.pitch import Pitch
from fretpath.remarks import Remark

_TEXT, _TITLE, _LYRIC, _TEMPO, _METER, _KEY = 0x01, 0x03, 0x05, 0x51, 0x58, 0x59
_MARK = "fretpath-"

# -- reading ---------------------------------------------------------------------------------------

_PERCUSSION = 9
_DENOMINATORS = frozenset((1, 2, 3, 4, 5, 6, 7, 8, 9, 12, 16, 24, 32, 48, 64))
_SAID = {0xA0: "key pressure", 0xE0: "bend"}
# Bytes behind each kind of channel message and of system common message (MIDI 1.0).
_SIZES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}
_COMMON = {0xF1: 1, 0xF2: 2, 0xF3: 1}


@dataclass(frozen=True, slots=True)
class _Struck:
    """A note in ticks."""

    start: int
    stop: int
    midi: int


@dataclass(frozen=True, slots=True)
class _Meta:
    """Signs that hold for the whole file: tempo, meter, key, words."""

    tick: int
    kind: int
    data: bytes


@dataclass(frozen=True)
class _File:
    """A file taken apart."""

    ticks: int
    """Ticks of a quarter note."""
    parts: tuple[tuple[str, list[_Struck]], ...]
    """Name and notes of each channel of each track."""
    metas: tuple[_Meta, ...]
    title: str
    gone: Counter[str]
    """What was passed over, and how often."""


def read_midi(data: bytes, part: str | None, *, lowest: bool, name: str) -> Voice:
    """One channel of one track of a MIDI file; *part* is its number or its name."""
    try:
        file = _taken_apart(data, name)
    except (IndexError, struct.error):
        raise ScoreFileError(f"{name} cannot be read: it ends in the middle of a track") from None
    if not file.parts:
        raise ScoreFileError(f"{name} holds no pitched note that could be played")
    index, voice, remarks = chosen_part([title for title, _ in file.parts], part, name)
    if voice != 1:
        raise RequestError(f"{name}: the parts of a MIDI file have no voices; ask for --part 1")
    spans, cut = _one_voice(file.parts[index][1], lowest=lowest)
    found = _written_down(spans, file, name)
    gone = [what for what, count in (file.gone + cut).items() for _ in range(count)]
    remarks = [*remarks, *found.remarks, *left_out(gone)]
    return replace(found, remarks=tuple(remarks), title=file.title, marks=_marks(file.metas))


def _taken_apart(data: bytes, name: str) -> _File:
    size, _, _, ticks = struct.unpack(">IHHH", data[4:14])
    if ticks == 0 or ticks >= 1 << 15:
        raise ScoreFileError(f"{name} counts time in frames and not in beats")
    at, number, events = 8 + size, 0, 0
    parts: list[tuple[str, list[_Struck]]] = []
    metas: list[_Meta] = []
    gone: Counter[str] = Counter()
    title = ""
    while at + 8 <= len(data):
        kind, size = data[at : at + 4], struct.unpack(">I", data[at + 4 : at + 8])[0]
        at += 8
        if kind == b"MTrk":
            number += 1
            track = _Track(data[at : at + size], f"track {number}")
            events += track.read(LIMITS["MIDI events"] - events, name)
            parts += track.parts()
            metas += track.metas
            gone += track.gone
            title = title or (track.title if number == 1 else "")
        at += size
    check_count(sum(len(notes) for _, notes in parts), "notes", name)
    return _File(ticks, tuple(parts), tuple(metas), title, gone)


class _Track:
    """Takes the events of one track apart."""

    def __init__(self, data: bytes, name: str) -> None:
        self.data = data
        self.name = name
        self.title = ""
        self.at = self.now = 0
        self.metas: list[_Meta] = []
        self.gone: Counter[str] = Counter()
        self.notes: dict[int, list[_Struck]] = {}
        self.open: dict[tuple[int, int], int] = {}

    def parts(self) -> Iterator[tuple[str, list[_Struck]]]:
        """Name and notes of each channel, in the order of their first notes."""
        for notes in self.notes.values():
            yield self.name, sorted(notes, key=lambda note: note.start)

    def read(self, most: int, name: str) -> int:
        """All events; how many there were, :class:`ScoreFileError` for more than ``most``."""
        count, status = 0, 0
        data = self.data
        while self.at < len(data):
            self.now += self._number()
            count += 1
            if count > most:
                check_count(LIMITS["MIDI events"] + 1, "MIDI events", name)
            if data[self.at] & 0x80:
                status = data[self.at]
                self.at += 1
            elif not status:
                raise ScoreFileError(f"{name} cannot be read: a track begins in the middle")
            if status < 0xF0:
                self._message(status, name)
            elif status == 0xFF:
                kind = data[self.at]
                self.at += 1
                if kind == 0x2F:
                    break
                self._meta(kind)
                status = 0
            else:
                self.at += self._number() if status in (0xF0, 0xF7) else _COMMON.get(status, 0)
                status = 0
        for channel, midi in list(self.open):
            self._end(channel, midi)
        return count

    def _number(self) -> int:
        """A variable-length quantity: seven bits a byte, at most four bytes."""
        number = 0
        for _ in range(4):
            byte = self.data[self.at]
            self.at += 1
            number = number << 7 | byte & 0x7F
            if byte < 0x80:
                break
        return number

    def _message(self, status: int, name: str) -> None:
        kind, channel = status & 0xF0, status & 0x0F
        if kind in (0x80, 0x90):
            midi, force = self.data[self.at], self.data[self.at + 1]
            if midi > 127:
                raise ScoreFileError(f"{name} cannot be read: a track is damaged")
            if channel == _PERCUSSION:
                self.gone["percussion note"] += kind == 0x90 and force > 0
            else:
                self._end(channel, midi)
                if kind == 0x90 and force:
                    self.open[channel, midi] = self.now
        elif kind in _SAID:
            self.gone[_SAID[kind]] += 1
        self.at += _SIZES[kind]

    def _end(self, channel: int, midi: int) -> None:
        start = self.open.pop((channel, midi), None)
        if start is not None and start < self.now:
            self.notes.setdefault(channel, []).append(_Struck(start, self.now, midi))
        elif start is not None:
            self.gone["empty note"] += 1

    def _meta(self, kind: int) -> None:
        size = self._number()
        data = self.data[self.at : self.at + size]
        self.at += size
        if kind == _TITLE and not self.title:
            self.title = one_line(_decoded(data))
            self.name = self.title or self.name
        elif kind in (_TEMPO, _METER, _KEY, _LYRIC) or data.startswith(_MARK.encode()):
            self.metas.append(_Meta(self.now, kind, data))


def _decoded(data: bytes) -> str:
    """Text of a file that does not say how it is written: UTF-8, or else Latin-1."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _marks(metas: Iterable[_Meta]) -> tuple[tuple[str, str], ...]:
    """Our own text events at the start; those with a place are signs."""
    texts = [_decoded(m.data) for m in metas if m.kind == _TEXT and not m.tick]
    pairs = [text.removeprefix(_MARK).partition(" ") for text in texts]
    return tuple((name, value) for name, _, value in pairs)


def _one_voice(notes: Iterable[_Struck], *, lowest: bool) -> tuple[list[_Struck], Counter[str]]:
    """One note at a time: of notes struck together one stays, and none outlasts the next."""
    at: dict[int, list[_Struck]] = {}
    for note in notes:
        at.setdefault(note.start, []).append(note)
    gone: Counter[str] = Counter()
    spans: list[_Struck] = []
    for start in sorted(at):
        pick = min if lowest else max
        if spans and spans[-1].stop > start:
            spans[-1] = replace(spans[-1], stop=start)
            gone["overlapping note end"] += 1
        spans.append(pick(at[start], key=lambda note: note.midi))
        gone["upper chord note" if lowest else "lower chord note"] += len(at[start]) - 1
    return spans, +gone


def _meters(metas: Iterable[_Meta], ticks: int) -> list[tuple[Fraction, Meter]]:
    found: dict[Fraction, Meter] = {}
    for meta in metas:
        data = meta.data
        if meta.kind == _METER and len(data) >= 2 and data[1] <= 5 and 1 <= data[0] <= 64:
            found[Fraction(meta.tick, ticks)] = Meter(data[0], 1 << data[1])
    return sorted(found.items(), key=lambda pair: pair[0])


def _keys(metas: Iterable[_Meta], ticks: int) -> list[tuple[Fraction, Key]]:
    """The keys of the key signatures, or of our own text beside them."""
    found: dict[Fraction, Key] = {}
    for meta in metas:
        at = Fraction(meta.tick, ticks)
        if meta.kind == _KEY and len(meta.data) >= 2:
            fifths = struct.unpack(">b", meta.data[:1])[0]
            found[at] = key_of_signature(fifths, "minor" if meta.data[1] else "major")
        elif meta.kind == _TEXT and meta.data.startswith(f"{_MARK}key ".encode()):
            try:
                key = Key.parse(one_line(_decoded(meta.data).partition(" ")[2]))
            except FretpathError:
                continue
            if at not in found or found[at].signature == key.signature:
                found[at] = key
    return sorted(found.items(), key=lambda pair: pair[0])


def _spelled(
    grid: Sequence[tuple[Fraction, Fraction, int]], keys: Sequence[tuple[Fraction, Key]]
) -> list[Pitch]:
    """Letters for a line: by the keys of the file, or by the key that its notes say."""
    if not keys:
        notes = [Note(Pitch.from_midi(midi), stop - start) for start, stop, midi in grid]
        keys = [(Fraction(0), find_key(Melody(tuple(notes))).key)]
    starts = [at for at, _ in keys]
    pitches: list[Pitch] = []
    in_force = groupby(grid, key=lambda row: max(bisect_right(starts, row[0]) - 1, 0))
    for number, rows in in_force:
        pitches += spell_line([midi for _, _, midi in rows], keys[number][1])
    return pitches


def _written_down(spans: Sequence[_Struck], file: _File, name: str) -> Voice:
    """Spans in ticks to sounds in quarter notes, cut at bar lines and at changes of key."""
    metas, ticks = file.metas, file.ticks
    own = any(meta.kind == _TEXT for meta in metas)
    meters, keys = _meters(metas, ticks), _keys(metas, ticks)
    grid, remarks = _grid(spans, ticks, meters)
    pitches = _spelled(grid, keys)
    end = max(stop for _, stop, _ in grid)
    bars = _bar_lines(meters, end, name)
    now, pickup = _first_onset(grid[0][0], meters, own)
    cuts = sorted({*bars, *(at for at, _ in meters), *(at for at, _ in keys)})
    words = {meta.tick: _decoded(meta.data).strip() for meta in metas if meta.kind == _LYRIC}
    sounds: list[ScoreSound] = []
    marks: dict[Fraction, int] = {}
    for (start, stop, _), pitch, span in zip(grid, pitches, spans, strict=True):
        if start > now:
            _add_span(sounds, marks, cuts, now, start, ScoreSound(Fraction(1), None))
        sound = ScoreSound(Fraction(1), pitch, lyric=words.get(span.start, ""))
        _add_span(sounds, marks, cuts, start, stop, sound)
        now = stop
    signs = [Sign(marks[at], "bar") for at in bars if at in marks]
    signs += [Sign(marks.get(at, 0), "meter", m) for at, m in _whole_first(meters) if at < end]
    signs += [Sign(marks.get(at, 0), "key", key) for at, key in keys if at < end]
    phrases = [Fraction(m.tick, ticks) for m in metas if m.data == f"{_MARK}phrase".encode()]
    signs += [Sign(marks[at], "phrase") for at in phrases if at in marks]
    signs += _tempos(metas)
    remarks += [pickup] if pickup else []
    return Voice(tuple(sounds), tuple(signs), tuple(remarks))


def _first_onset(
    first: Fraction, meters: Sequence[tuple[Fraction, Meter]], own: bool
) -> tuple[Fraction, Remark | None]:
    """Where the music begins: a rest before the first note of the first bar makes a pickup."""
    meter = meters[0][1] if meters and meters[0][0] == 0 else None
    if own or not first or meter is None or first >= Fraction(4 * meter.beats, meter.unit):
        return Fraction(0), None
    return first, Remark("read", "the first bar begins with a rest: read as a pickup")


def _tempos(metas: Iterable[_Meta]) -> Iterator[Sign]:
    for meta in metas:
        micros = int.from_bytes(meta.data, "big") if meta.kind == _TEMPO else 0
        if micros and len(meta.data) == 3:
            yield Sign(0, "tempo", Fraction(60_000_000, micros).limit_denominator(100))


def _whole_first(meters: Sequence[tuple[Fraction, Meter]]) -> Iterator[tuple[Fraction, Meter]]:
    """The meters; a first one of one short bar is a pickup to the second."""
    if len(meters) > 1:
        (_, first), (at, second) = meters[:2]
        size, whole = Fraction(4 * first.beats, first.unit), Fraction(4 * second.beats, second.unit)
        if at == size < whole:
            yield Fraction(0), second
            yield from meters[2:]
            return
    yield from meters


_Span = tuple[Fraction, Fraction, int]


def _grid(
    spans: Sequence[_Struck], ticks: int, meters: Sequence[tuple[Fraction, Meter]]
) -> tuple[list[_Span], list[Remark]]:
    """Start, end and number of each note in quarter notes, as they were meant."""
    exact = [(Fraction(s.start, ticks), Fraction(s.stop, ticks), s.midi) for s in spans]
    onsets_fit = all(start.denominator in _DENOMINATORS for start, _, _ in exact)
    if onsets_fit and all(stop.denominator in _DENOMINATORS for _, stop, _ in exact):
        held = _held(exact)
        if held == exact:
            return exact, []
        return held, [Remark("rounded", "notes let go a little early last until the next")]
    if onsets_fit:
        return _with_ends(_held(exact)), [Remark("rounded", "the ends of notes")]
    rounded: list[_Span] = []
    for start, stop, midi in _held(exact):
        begin = _rounded(start)
        if rounded and rounded[-1][0] >= begin:
            begin = rounded[-1][0] + Fraction(1, 4)
        if rounded and (rounded[-1][1] > begin or begin - rounded[-1][1] <= Fraction(1, 4)):
            rounded[-1] = (rounded[-1][0], begin, rounded[-1][2])
        rounded.append((begin, max(_rounded(stop), begin + Fraction(1, 4)), midi))
    text = "played timing to quarters and thirds of a quarter note"
    return rounded, [Remark("rounded", text)]


def _with_ends(spans: Sequence[_Span]) -> list[_Span]:
    """Each end on the grid, and none behind the next note."""
    found = []
    for (start, stop, midi), after in zip(spans, [*spans[1:], None], strict=True):
        if stop.denominator not in _DENOMINATORS:
            stop = max(_rounded(stop), start + Fraction(1, 4))
        found.append((start, min(stop, after[0]) if after else stop, midi))
    return found


def _held(spans: Sequence[_Span]) -> list[_Span]:
    """Notes that are let go a little early in every case, each held until the next one.

    Programs shorten notes to 75 to 95 hundredths; a rest is a rest where it is a quarter of the
    way or more, and where other notes reach the next one.
    """
    gaps = [
        (start, stop, after) for (start, stop, _), (after, _, _) in pairwise(spans) if stop < after
    ]
    short = [g for g in gaps if Fraction(3, 4) <= (g[1] - g[0]) / (g[2] - g[0]) < 1]
    if not gaps or 2 * len(short) < len(spans) - 1:
        return list(spans)
    share = (short[-1][1] - short[-1][0]) / (short[-1][2] - short[-1][0])
    held = []
    for (start, stop, midi), after in zip(spans, [*spans[1:], None], strict=True):
        room = after[0] - start if after else (stop - start) / share
        near = Fraction(3, 4) <= (stop - start) / room < 1 or after is None
        held.append((start, start + room if near else stop, midi))
    return held


def _rounded(at: Fraction) -> Fraction:
    return min((Fraction(round(at * n), n) for n in (4, 3)), key=lambda near: abs(near - at))


def _bar_lines(
    meters: Sequence[tuple[Fraction, Meter]], end: Fraction, name: str
) -> list[Fraction]:
    """Every bar line between the start and ``end``, in quarter notes."""
    lines: set[Fraction] = set()
    for number, (at, meter) in enumerate(meters):
        stop = meters[number + 1][0] if number + 1 < len(meters) else end
        size = Fraction(4 * meter.beats, meter.unit)
        count = max(0, -(-(min(stop, end) - at) // size))
        check_count(int(count) + len(lines), "bars", name)
        lines.update(at + size * n for n in range(int(count)) if at + size * n > 0)
    return sorted(lines)


def _add_span(
    sounds: list[ScoreSound],
    marks: dict[Fraction, int],
    cuts: Sequence[Fraction],
    start: Fraction,
    stop: Fraction,
    sound: ScoreSound,
) -> None:
    """Put a note or a rest down, tied where a bar line or a change of key cuts it."""
    inner = cuts[bisect_right(cuts, start) : bisect_right(cuts, stop)]
    edges = [start, *(cut for cut in inner if cut < stop), stop]
    check_count(len(sounds) + len(edges), "notes", "the file")
    for number, (begin, end) in enumerate(pairwise(edges)):
        marks[begin] = len(sounds)
        lyric = sound.lyric if not number else ""
        sounds.append(replace(sound, length=end - begin, tied=number > 0, lyric=lyric))


# -- writing ---------------------------------------------------------------------------------------

TICKS = 5040
_DEFAULT_TEMPO = 120


def write_midi(melody: Melody, *, program: int = 25) -> bytes:
    """A standard MIDI file of the melody as it sounds; *program* is 1 to 128."""
    melody = melody.expanded()
    places = _ticks(melody)
    events = [*_heading(melody, program, places), *_sounding(melody, places)]
    track = bytearray()
    now = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        track += _variable(tick - now) + message
        now = tick
    track += _variable(max(0, places[-1] - now)) + b"\xff\x2f\x00"
    head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, TICKS)
    return head + b"MTrk" + struct.pack(">I", len(track)) + bytes(track)


def _ticks(melody: Melody) -> list[int]:
    """Where each event begins, and the end, in ticks; rounded once from the exact sum."""
    now, places = Fraction(0), [0]
    for length in quarters(melody):
        now += length
        places.append(round(now * TICKS))
    return places


def _heading(
    melody: Melody, program: int, places: Sequence[int]
) -> Iterator[tuple[int, int, bytes]]:
    if melody.title:
        yield 0, 0, _meta(_TITLE, melody.title)
    marks = dict(marks_of(melody))
    for name in ("octave", *(name for name, _ in melody.headers)):
        if name in marks:
            yield 0, 0, _meta(_TEXT, f"{_MARK}{name} {one_line(marks[name])}")
    unit = melody.meter.unit if melody.meter else 4
    tempo = (melody.tempo or _DEFAULT_TEMPO) * Fraction(4, unit)
    yield 0, 0, _meta(_TEMPO, round(60_000_000 / tempo).to_bytes(4, "big")[1:])
    for at, meter in _meters_with_pickup(melody):
        power = meter.unit.bit_length() - 1
        yield places[at], 0, _meta(_METER, bytes((meter.beats, power, 24, 8)))
    for at, key in melody.keys:
        if -7 <= key.signature <= 7:
            minor = key.scale.parent == "natural minor"
            yield places[at], 0, _meta(_KEY, struct.pack(">bB", key.signature, minor))
        if key.mode not in ("major", "natural minor") or abs(key.signature) > 7:
            yield places[at], 0, _meta(_TEXT, f"{_MARK}key {key}")
    for at in melody.phrases:
        yield places[at], 0, _meta(_TEXT, f"{_MARK}phrase")
    for at, word in melody.lyrics:
        yield places[at], 1, _meta(_LYRIC, word)
    yield 0, 1, bytes((0xC0, program - 1))


def _meters_with_pickup(melody: Melody) -> Iterator[tuple[int, Meter]]:
    """The meters, a pickup with one of its own before them."""
    if melody.has_pickup and melody.meter:
        beats = sum((note.beats for note in melody.notes[: melody.bars[0]]), Fraction(0))
        for times in (1, 2, 4, 8):
            unit = melody.meter.unit * times
            if (beats * times).denominator == 1 and beats * times <= 64 and unit <= 32:
                yield 0, Meter(int(beats * times), unit)
                if melody.bars[0] not in dict(melody.meters):
                    yield melody.bars[0], melody.meter
                yield from melody.meters[1:]
                return
    yield from melody.meters


def _sounding(melody: Melody, places: Sequence[int]) -> Iterator[tuple[int, int, bytes]]:
    ends = [*melody.struck[1:], len(melody.notes)]
    for event, limit in zip(melody.struck, ends, strict=True):
        pitch = melody.notes[event].pitch
        assert pitch is not None
        if not 0 <= pitch.midi <= 127:
            raise RequestError(f"{melody.place_of(event)} ({pitch}) is outside MIDI (C-1 to G9)")
        stop = event + 1
        while stop < limit and melody.notes[stop].tied:
            stop += 1
        yield places[event], 3, bytes((0x90, pitch.midi, 80))
        yield places[stop], 2, bytes((0x80, pitch.midi, 64))


def _meta(kind: int, content: bytes | str) -> bytes:
    data = content.encode("utf-8") if isinstance(content, str) else content
    return bytes((0xFF, kind)) + _variable(len(data)) + data


def _variable(number: int) -> bytes:
    """A variable-length quantity: seven bits a byte, the high bit set on all but the last."""
    found = [number & 0x7F]
    while number := number >> 7:
        found.append(number & 0x7F | 0x80)
    return bytes(reversed(found))
