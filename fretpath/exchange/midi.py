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
from fractions import Fraction
from itertools import groupby, pairwise, zip_longest
from operator import itemgetter
from typing import NamedTuple

from fretpath.errors import FretpathError, RequestError, ScoreFileError
from fretpath.exchange.door import LIMITS, check_count, one_line, text_of
from fretpath.exchange.melody_of_voice import marks_of
from fretpath.exchange.note_values import bar_length, quarters
from fretpath.exchange.voices import (
    ScoreSound,
    TimedSign,
    Voice,
    VoiceDraft,
    choose_part,
    key_of_signature,
)
from fretpath.music.key import Key
from fretpath.music.keyfinding import find_key, spell_line
from fretpath.music.melody import Melody, Meter, Note
from fretpath.music.pitch import Pitch
from fretpath.remarks import Remark

_TEXT, _TITLE, _LYRIC, _TEMPO, _METER, _KEY = 0x01, 0x03, 0x05, 0x51, 0x58, 0x59
_MARK = "fretpath-"
_PHRASE = f"{_MARK}phrase".encode()

# -- reading ---------------------------------------------------------------------------------------

_PERCUSSION = 9
_DENOMINATORS = frozenset((1, 2, 3, 4, 5, 6, 7, 8, 9, 12, 16, 24, 32, 48, 64))
_SAID = {0xA0: "key pressure", 0xE0: "bend"}
# Bytes behind each kind of channel message and of system common message (MIDI 1.0).
_SIZES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}
_COMMON = {0xF1: 1, 0xF2: 2, 0xF3: 1}


_Struck = tuple[int, int, int]
"""When a note of a track begins and ends, in ticks, and its number."""


class _Played(NamedTuple):
    """A note by its time in quarter notes."""

    start: Fraction
    stop: Fraction
    midi: int


class _Meta(NamedTuple):
    """A sign that holds for the whole file: tempo, meter, key, words."""

    at: Fraction
    """When, in quarter notes."""
    kind: int
    data: bytes


def read_midi(data: bytes, part: str | None, *, lowest: bool, name: str) -> Voice:
    """One channel of one track of a MIDI file; *part* is its number or its name."""
    try:
        tracks = list(_tracks(data, name))
    except (IndexError, struct.error):
        raise ScoreFileError(f"{name} cannot be read: it ends in the middle of a track") from None
    parts = [named for track in tracks for named in track.parts()]
    check_count(sum(len(notes) for _, notes in parts), "notes", name)
    if not parts:
        raise ScoreFileError(f"{name} holds no pitched note that could be played")
    index, voice, remarks = choose_part([title for title, _ in parts], part, name)
    if voice != 1:
        raise RequestError(f"{name}: the parts of a MIDI file have no voices; ask for --part 1")
    metas = [meta for track in tracks for meta in track.metas]
    draft = VoiceDraft(lowest=lowest, gone=sum((track.gone for track in tracks), Counter()))
    _write_down(draft, _one_voice(draft, parts[index][1], tracks[0].ticks), metas, name)
    return draft.voice(tracks[0].title, _marks(metas), remarks)


def _tracks(data: bytes, name: str) -> Iterator[_Track]:
    """The tracks of a file, each taken apart."""
    size, _, _, ticks = struct.unpack(">IHHH", data[4:14])
    if ticks == 0 or ticks >= 1 << 15:
        raise ScoreFileError(f"{name} counts time in frames and not in beats")
    at, number, events = 8 + size, 0, 0
    while at + 8 <= len(data):
        kind, size = data[at : at + 4], struct.unpack(">I", data[at + 4 : at + 8])[0]
        at += 8
        if kind == b"MTrk":
            number += 1
            track = _Track(data[at : at + size], f"track {number}", ticks)
            events += track.read(LIMITS["MIDI events"] - events, name)
            yield track
        at += size


class _Track:
    """Takes the events of one track apart."""

    def __init__(self, data: bytes, name: str, ticks: int) -> None:
        self.data = data
        self.name = name
        self.ticks = ticks
        self.title = ""
        self.at = self.now = 0
        self.metas: list[_Meta] = []
        self.gone: Counter[str] = Counter()
        self.notes: dict[int, list[_Struck]] = {}
        self.open: dict[tuple[int, int], int] = {}

    def parts(self) -> Iterator[tuple[str, list[_Struck]]]:
        """Name and notes of each channel, in the order of their first notes."""
        for notes in self.notes.values():
            yield self.name, sorted(notes)

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
            self.notes.setdefault(channel, []).append((start, self.now, midi))
        elif start is not None:
            self.gone["empty note"] += 1

    def _meta(self, kind: int) -> None:
        size = self._number()
        data = self.data[self.at : self.at + size]
        self.at += size
        if kind == _TITLE and not self.title:
            self.title = one_line(text_of(data))
            self.name = self.title or self.name
        elif kind in (_TEMPO, _METER, _KEY, _LYRIC) or data.startswith(_MARK.encode()):
            self.metas.append(_Meta(Fraction(self.now, self.ticks), kind, data))


def _marks(metas: Iterable[_Meta]) -> tuple[tuple[str, str], ...]:
    """Our own text events at the start; those with a place are signs."""
    texts = [text_of(m.data) for m in metas if m.kind == _TEXT and not m.at]
    pairs = [text.removeprefix(_MARK).partition(" ") for text in texts]
    return tuple((name, value) for name, _, value in pairs)


def _one_voice(draft: VoiceDraft, notes: Iterable[_Struck], ticks: int) -> list[_Played]:
    """One note at a time: of notes struck together one stays, and none outlasts the next."""
    spans: list[_Played] = []
    for tick, together in groupby(notes, key=itemgetter(0)):
        start = Fraction(tick, ticks)
        if spans and spans[-1].stop > start:
            spans[-1] = spans[-1]._replace(stop=start)
            draft.gone["overlapping note end"] += 1
        _, stop, midi = draft.one_of(list(together), itemgetter(2))
        spans.append(_Played(start, Fraction(stop, ticks), midi))
    return spans


def _meters(metas: Iterable[_Meta]) -> list[tuple[Fraction, Meter]]:
    found: dict[Fraction, Meter] = {}
    for at, kind, data in metas:
        if kind == _METER and len(data) >= 2 and data[1] <= 5 and 1 <= data[0] <= 64:
            found[at] = Meter(data[0], 1 << data[1])
    return sorted(found.items(), key=itemgetter(0))


def _keys(metas: Iterable[_Meta]) -> list[tuple[Fraction, Key]]:
    """The keys of the key signatures, or of our own text beside them."""
    found: dict[Fraction, Key] = {}
    for at, kind, data in metas:
        if kind == _KEY and len(data) >= 2:
            fifths = struct.unpack(">b", data[:1])[0]
            found[at] = key_of_signature(fifths, "minor" if data[1] else "major")
        elif kind == _TEXT and data.startswith(f"{_MARK}key ".encode()):
            try:
                key = Key.parse(one_line(text_of(data).partition(" ")[2]))
            except FretpathError:
                continue
            if at not in found or found[at].signature == key.signature:
                found[at] = key
    return sorted(found.items(), key=itemgetter(0))


def _spell(grid: Sequence[_Played], keys: Sequence[tuple[Fraction, Key]]) -> list[Pitch]:
    """Letters for a line: by the keys of the file, or by the key that its notes say."""
    if not keys:
        notes = [Note(Pitch.from_midi(midi), stop - start) for start, stop, midi in grid]
        keys = [(Fraction(0), find_key(Melody(tuple(notes))).key)]
    starts = [at for at, _ in keys]
    pitches: list[Pitch] = []
    in_force = groupby(grid, key=lambda note: max(bisect_right(starts, note.start) - 1, 0))
    for number, notes_of_key in in_force:
        pitches += spell_line([note.midi for note in notes_of_key], keys[number][1])
    return pitches


def _write_down(
    draft: VoiceDraft, spans: Sequence[_Played], metas: Sequence[_Meta], name: str
) -> None:
    """Put notes and signs down, notes cut at bar lines and at changes of key."""
    meters, keys = _meters(metas), _keys(metas)
    grid = _grid(draft, spans)
    bars = _bar_lines(meters, max(note.stop for note in grid), name)
    words = {meta.at: text_of(meta.data).strip() for meta in metas if meta.kind == _LYRIC}
    timed = [
        (note.start, ScoreSound(note.stop - note.start, pitch, lyric=words.get(span.start, "")))
        for note, pitch, span in zip(grid, _spell(grid, keys), spans, strict=True)
    ]
    signs: list[TimedSign] = [(at, "bar", None) for at in bars]
    signs += [(at, "meter", meter) for at, meter in _whole_first(meters)]
    signs += [(at, "key", key) for at, key in keys]
    begins = {span.start: note.start for note, span in zip(grid, spans, strict=True)}
    signs += [(begins.get(m.at, m.at), "phrase", None) for m in metas if m.data == _PHRASE]
    signs += _tempos(metas)
    cuts = sorted({*bars, *(at for at, _ in (*meters, *keys))})
    own = any(meta.kind == _TEXT for meta in metas)
    draft.lay(timed, signs, cuts, Fraction(0) if own else _first_onset(draft, grid, meters))


def _first_onset(
    draft: VoiceDraft, grid: Sequence[_Played], meters: Sequence[tuple[Fraction, Meter]]
) -> Fraction:
    """Where the music begins: a rest before the first note of the first bar makes a pickup."""
    first = grid[0].start
    meter = meters[0][1] if meters and meters[0][0] == 0 else None
    if not first or meter is None or first >= bar_length(meter):
        return Fraction(0)
    draft.remarks.append(Remark("read", "the first bar begins with a rest: read as a pickup"))
    return first


def _tempos(metas: Iterable[_Meta]) -> Iterator[TimedSign]:
    for at, kind, data in metas:
        micros = int.from_bytes(data, "big") if kind == _TEMPO else 0
        if micros and len(data) == 3:
            yield at, "tempo", Fraction(60_000_000, micros).limit_denominator(100)


def _whole_first(meters: Sequence[tuple[Fraction, Meter]]) -> Iterator[tuple[Fraction, Meter]]:
    """The meters; a first one of one short bar is a pickup to the second."""
    if len(meters) > 1:
        (_, first), (at, second) = meters[:2]
        if at == bar_length(first) < bar_length(second):
            yield Fraction(0), second
            yield from meters[2:]
            return
    yield from meters


def _grid(draft: VoiceDraft, spans: Sequence[_Played]) -> list[_Played]:
    """The notes as they were meant."""
    held = _hold(spans)
    onsets_fit = all(note.start.denominator in _DENOMINATORS for note in spans)
    if onsets_fit and all(note.stop.denominator in _DENOMINATORS for note in spans):
        if held != spans:
            text = "notes let go a little early last until the next"
            draft.remarks.append(Remark("rounded", text))
        return held
    if onsets_fit:
        draft.remarks.append(Remark("rounded", "the ends of notes"))
        return _with_ends(held)
    rounded: list[_Played] = []
    for start, stop, midi in held:
        begin = _round_off(start)
        if rounded and rounded[-1].start >= begin:
            begin = rounded[-1].start + Fraction(1, 4)
        if rounded and begin - rounded[-1].stop <= Fraction(1, 4):
            rounded[-1] = rounded[-1]._replace(stop=begin)
        rounded.append(_Played(begin, max(_round_off(stop), begin + Fraction(1, 4)), midi))
    text = "played timing to quarters and thirds of a quarter note"
    draft.remarks.append(Remark("rounded", text))
    return rounded


def _with_ends(spans: Sequence[_Played]) -> list[_Played]:
    """Each end on the grid, and none behind the next note."""
    found = []
    for note, after in zip_longest(spans, spans[1:]):
        stop = note.stop
        if stop.denominator not in _DENOMINATORS:
            stop = max(_round_off(stop), note.start + Fraction(1, 4))
        found.append(note._replace(stop=min(stop, after.start) if after else stop))
    return found


def _hold(spans: Sequence[_Played]) -> list[_Played]:
    """Notes that are let go a little early in every case, each held until the next one.

    Programs shorten notes to 75 to 95 hundredths; a rest is a rest where it is a quarter of the
    way or more, and where other notes reach the next one.
    """
    shares = [
        (note.stop - note.start) / (after.start - note.start)
        for note, after in pairwise(spans)
        if note.stop < after.start
    ]
    short = [share for share in shares if share >= Fraction(3, 4)]
    if not shares or 2 * len(short) < len(spans) - 1:
        return list(spans)
    held = []
    for note, after in zip_longest(spans, spans[1:]):
        room = after.start - note.start if after else (note.stop - note.start) / short[-1]
        near = after is None or Fraction(3, 4) <= (note.stop - note.start) / room < 1
        held.append(note._replace(stop=note.start + room) if near else note)
    return held


def _round_off(at: Fraction) -> Fraction:
    return min((Fraction(round(at * n), n) for n in (4, 3)), key=lambda near: abs(near - at))


def _bar_lines(
    meters: Sequence[tuple[Fraction, Meter]], end: Fraction, name: str
) -> list[Fraction]:
    """Every bar line between the start and ``end``, in quarter notes."""
    lines: set[Fraction] = set()
    for number, (at, meter) in enumerate(meters):
        stop = meters[number + 1][0] if number + 1 < len(meters) else end
        size = bar_length(meter)
        count = max(0, -(-(min(stop, end) - at) // size))
        check_count(int(count) + len(lines), "bars", name)
        lines.update(at + size * n for n in range(int(count)) if at + size * n > 0)
    return sorted(lines)


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
