"""Standard MIDI files, both ways.

**Conventions.**  Written files are format 0, 5040 ticks a quarter note (all lengths down to
64th notes, triplets, quintuplets and septuplets are whole ticks), channel 1, the sounding octave,
the General MIDI Level 1 program of the instrument.  A pickup is a first bar with a meter of its
own.  A note lasts its whole length.

**Reading.**  music21 takes the bytes apart into events; what they mean is worked out here, so that
lengths stay exact.  If the onsets are not on a grid (a file that was played, not written), they
are rounded to quarters and thirds of a quarter note, and this is said.  MIDI numbers have no
spelling: the key signature gives one, or the signature under which most notes are natural.
"""

from __future__ import annotations

import struct
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

from fretpath.errors import RequestError, ScoreFileError
from fretpath.exchange.assemble import Sound, Voice, key_of_signature
from fretpath.exchange.safety import MOST_NOTES, check_count
from fretpath.exchange.values import quarters
from fretpath.music.key import Key
from fretpath.music.melody import Melody, Meter
from fretpath.music.pitch import Pitch
from fretpath.music.sounding import likeliest_signature, spelled

__all__ = ["read_midi", "write_midi"]

TICKS = 5040
_PERCUSSION = 10
_DENOMINATORS = frozenset((1, 2, 3, 4, 5, 6, 7, 8, 9, 12, 16, 24, 32, 48, 64))
_DEFAULT_TEMPO = 120


# -- writing -------------------------------------------------------------------------------------


def write_midi(melody: Melody, *, program: int = 25) -> bytes:
    """A standard MIDI file of the melody as it sounds; *program* is 1 to 128."""
    events = [*_heading(melody, program), *_sounding(melody)]
    track = bytearray()
    now = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        track += _variable(tick - now) + message
        now = tick
    track += _variable(max(0, _end(melody) - now)) + b"\xff\x2f\x00"
    head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, TICKS)
    return head + b"MTrk" + struct.pack(">I", len(track)) + bytes(track)


def _ticks(melody: Melody) -> list[int]:
    """Where each event begins, and the end, in ticks; rounded once from the exact sum."""
    now, places = Fraction(0), [0]
    for length in quarters(melody):
        now += length
        places.append(round(now * TICKS))
    return places


def _end(melody: Melody) -> int:
    return _ticks(melody)[-1]


def _heading(melody: Melody, program: int) -> Iterator[tuple[int, int, bytes]]:
    places = _ticks(melody)
    if melody.title:
        yield 0, 0, _meta(0x03, melody.title.encode("utf-8"))
    unit = melody.meter.unit if melody.meter else 4
    tempo = (melody.tempo or _DEFAULT_TEMPO) * Fraction(4, unit)
    yield 0, 0, _meta(0x51, round(60_000_000 / tempo).to_bytes(4, "big")[1:])
    for at, meter in _meters(melody):
        power = meter.unit.bit_length() - 1
        yield places[at], 0, _meta(0x58, bytes((meter.beats, power, 24, 8)))
    for at, key in melody.keys:
        if -7 <= key.signature <= 7:
            minor = key.scale.parent == "natural minor"
            yield places[at], 0, _meta(0x59, struct.pack(">bB", key.signature, minor))
    yield 0, 1, bytes((0xC0, program - 1))


def _meters(melody: Melody) -> Iterator[tuple[int, Meter]]:
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


def _sounding(melody: Melody) -> Iterator[tuple[int, int, bytes]]:
    places = _ticks(melody)
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


def _meta(kind: int, data: bytes) -> bytes:
    return bytes((0xFF, kind)) + _variable(len(data)) + data


def _variable(number: int) -> bytes:
    """A variable-length quantity: seven bits a byte, the high bit set on all but the last."""
    found = [number & 0x7F]
    while number := number >> 7:
        found.append(number & 0x7F | 0x80)
    return bytes(reversed(found))


# -- reading -------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Struck:
    """A note in ticks."""

    start: int
    stop: int
    midi: int


@dataclass(frozen=True)
class _Line:
    """What can be chosen as a part: one channel of one track."""

    name: str
    notes: list[_Struck]


def read_midi(data: bytes, voice: Voice, part: str | None, *, lowest: bool, name: str) -> None:
    """Fill ``voice`` from one channel of one track of a MIDI file."""
    from music21.midi import MidiFile

    file = MidiFile()
    file.readstr(data)
    ticks = int(file.ticksPerQuarterNote or 0)
    if ticks <= 0 or ticks >= 1 << 15:
        raise ScoreFileError(f"{name} counts time in frames and not in beats")
    lines: list[_Line] = []
    signs: list[tuple[int, str, bytes]] = []
    for number, track in enumerate(file.tracks, start=1):
        _take_apart(track, number, lines, signs, voice)
    check_count(sum(len(line.notes) for line in lines), MOST_NOTES, "notes", name)
    if not lines:
        raise ScoreFileError(f"{name} holds no pitched note that could be played")
    line = _chosen(lines, part, voice, name)
    _read_signs(signs, voice)
    spans = _one_voice(line.notes, voice, lowest=lowest)
    _write_down(spans, signs, ticks, voice)


def _take_apart(
    track: Any,
    number: int,
    lines: list[_Line],
    signs: list[tuple[int, str, bytes]],
    voice: Voice,
) -> None:
    """Notes by channel, and the signs that hold for the whole file."""
    now, title = 0, f"track {number}"
    found: dict[int, list[_Struck]] = {}
    open_notes: dict[tuple[int, int], _Struck] = {}
    for event in track.events:
        kind = getattr(event.type, "name", event.type)
        if kind == "DeltaTime":
            now += int(event.time)
        elif kind == "NOTE_ON" and event.velocity:
            if event.channel == _PERCUSSION:
                voice.left_out["percussion notes"] += 1
                continue
            note = _Struck(now, now, int(event.pitch))
            found.setdefault(event.channel, []).append(note)
            _end_note(open_notes, event, now)
            open_notes[event.channel, event.pitch] = note
        elif kind in ("NOTE_ON", "NOTE_OFF"):
            _end_note(open_notes, event, now)
        elif kind == "SEQUENCE_TRACK_NAME":
            title = bytes(event.data or b"").decode("utf-8", "replace").strip() or title
            if not voice.title and number == 1:
                voice.title = title
        elif kind in ("SET_TEMPO", "TIME_SIGNATURE", "KEY_SIGNATURE"):
            signs.append((now, kind, bytes(event.data or b"")))
    for note in open_notes.values():
        note.stop = now
    lines.extend(_Line(title, notes) for notes in found.values())


def _end_note(open_notes: dict[tuple[int, int], _Struck], event: Any, now: int) -> None:
    before = open_notes.pop((event.channel, event.pitch), None)
    if before is not None:
        before.stop = now


def _chosen(lines: Sequence[_Line], part: str | None, voice: Voice, name: str) -> _Line:
    listed = ", ".join(f"{n} {line.name}" for n, line in enumerate(lines, start=1))[:200]
    if part is None:
        if len(lines) > 1:
            voice.remarks.append(f"parts: {listed}; part 1 is read (--part)")
        return lines[0]
    for number, line in enumerate(lines, start=1):
        if part.lower() in (str(number), line.name.lower()):
            return line
    raise RequestError(f'{name} has no part "{part[:40]}" (parts: {listed})')


def _one_voice(notes: Iterable[_Struck], voice: Voice, *, lowest: bool) -> list[_Struck]:
    """One note at a time: of notes struck together one stays, and none outlasts the next."""
    at: dict[int, list[_Struck]] = {}
    for note in notes:
        if note.stop > note.start:
            at.setdefault(note.start, []).append(note)
        else:
            voice.left_out["notes without length"] += 1
    spans: list[_Struck] = []
    for start in sorted(at):
        pick = min if lowest else max
        if spans and spans[-1].stop > start:
            spans[-1].stop = start
            voice.remarks.append("notes that sound into the next one are cut there")
        spans.append(pick(at[start], key=lambda note: note.midi))
        gone = "upper notes of chords" if lowest else "lower notes of chords"
        voice.left_out[gone] += len(at[start]) - 1
    return spans


def _read_signs(signs: Sequence[tuple[int, str, bytes]], voice: Voice) -> None:
    for _, kind, data in signs:
        if kind == "SET_TEMPO" and voice.tempo is None and len(data) == 3:
            micros = int.from_bytes(data, "big")
            voice.tempo = Fraction(60_000_000, micros).limit_denominator(100) if micros else None


def _meter_signs(
    signs: Sequence[tuple[int, str, bytes]], ticks: int
) -> list[tuple[Fraction, Meter]]:
    found: dict[Fraction, Meter] = {}
    for tick, kind, data in signs:
        if kind == "TIME_SIGNATURE" and len(data) >= 2 and data[1] <= 5 and 1 <= data[0] <= 64:
            found[Fraction(tick, ticks)] = Meter(data[0], 1 << data[1])
    return sorted(found.items(), key=lambda pair: pair[0])


def _key_signs(signs: Sequence[tuple[int, str, bytes]], ticks: int) -> list[tuple[Fraction, Key]]:
    found: dict[Fraction, Key] = {}
    for tick, kind, data in signs:
        if kind == "KEY_SIGNATURE" and len(data) >= 2:
            fifths = struct.unpack(">b", data[:1])[0]
            found[Fraction(tick, ticks)] = key_of_signature(fifths, "minor" if data[1] else "major")
    return sorted(found.items(), key=lambda pair: pair[0])


def _write_down(
    spans: Sequence[_Struck],
    signs: Sequence[tuple[int, str, bytes]],
    ticks: int,
    voice: Voice,
) -> None:
    """Spans in ticks to sounds in quarter notes, cut at bar lines and at changes of key."""
    grid = _grid(spans, ticks, voice)
    meters, keys = _meter_signs(signs, ticks), _key_signs(signs, ticks)
    spelling = keys or [(Fraction(0), likeliest_signature(span.midi for span in spans))]
    end = max((stop for _, stop, _ in grid), default=Fraction(0))
    bars = _bar_lines(meters, end)
    cuts = sorted({*bars, *(at for at, _ in meters), *(at for at, _ in keys)})
    marks: dict[Fraction, int] = {}
    now = Fraction(0)
    for start, stop, midi in grid:
        if start > now:
            _add_span(voice, now, start, None, cuts, marks)
        key = [key for at, key in spelling if at <= start] or [spelling[0][1]]
        _add_span(voice, start, stop, spelled(midi, key[-1]), cuts, marks)
        now = stop
    voice.bars = [marks[at] for at in bars if at in marks]
    voice.meters = [(marks.get(at, 0), meter) for at, meter in meters if at < end]
    voice.keys = [(marks.get(at, 0), key) for at, key in keys if at < end]
    _pickup(voice, meters)


def _pickup(voice: Voice, meters: Sequence[tuple[Fraction, Meter]]) -> None:
    """A first meter of one short bar is a pickup to the second one."""
    if len(meters) > 1 and len(voice.meters) > 1:
        (_, first), (at, second) = meters[:2]
        size, whole = Fraction(4 * first.beats, first.unit), Fraction(4 * second.beats, second.unit)
        if at == size < whole:
            voice.meters = [(0, second), *voice.meters[2:]]


def _grid(
    spans: Sequence[_Struck], ticks: int, voice: Voice
) -> list[tuple[Fraction, Fraction, int]]:
    exact = [(Fraction(s.start, ticks), Fraction(s.stop, ticks), s.midi) for s in spans]
    if all(x.denominator in _DENOMINATORS for row in exact for x in row[:2]):
        return exact
    voice.remarks.append("played timing is rounded to quarters and thirds of a quarter note")
    rounded: list[tuple[Fraction, Fraction, int]] = []
    for start, stop, midi in exact:
        begin = _rounded(start)
        if rounded and rounded[-1][0] >= begin:
            begin = rounded[-1][0] + Fraction(1, 4)
        if rounded and (rounded[-1][1] > begin or begin - rounded[-1][1] <= Fraction(1, 4)):
            rounded[-1] = (rounded[-1][0], begin, rounded[-1][2])
        rounded.append((begin, max(_rounded(stop), begin + Fraction(1, 4)), midi))
    return rounded


def _rounded(at: Fraction) -> Fraction:
    return min((Fraction(round(at * n), n) for n in (4, 3)), key=lambda near: abs(near - at))


def _bar_lines(meters: Sequence[tuple[Fraction, Meter]], end: Fraction) -> list[Fraction]:
    """Every bar line between the start and ``end``, in quarter notes."""
    lines: list[Fraction] = []
    for number, (at, meter) in enumerate(meters):
        stop = meters[number + 1][0] if number + 1 < len(meters) else end
        size = Fraction(4 * meter.beats, meter.unit)
        count = max(0, -(-(min(stop, end) - at) // size))
        check_count(int(count) + len(lines), MOST_NOTES, "bars", "the file")
        lines.extend(at + size * n for n in range(int(count)) if at + size * n > 0)
    return sorted(set(lines))


def _add_span(
    voice: Voice,
    start: Fraction,
    stop: Fraction,
    pitch: Pitch | None,
    cuts: Sequence[Fraction],
    marks: dict[Fraction, int],
) -> None:
    inner = cuts[bisect_right(cuts, start) : bisect_right(cuts, stop)]
    edges = [start, *(cut for cut in inner if cut < stop), stop]
    for number, (begin, end) in enumerate(pairwise(edges)):
        marks[begin] = len(voice.sounds)
        voice.sounds.append(Sound(end - begin, pitch, tied=number > 0))
