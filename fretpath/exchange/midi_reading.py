"""Standard MIDI files, read.

**How.**  music21 takes the bytes apart into events; what they mean is worked out here, so that
lengths stay exact.  If the onsets are not on a grid (a file that was played, not written), they
are rounded to quarters and thirds of a quarter note, and this is said.  MIDI numbers have no
spelling: the key signature gives one, or the signature under which most notes are natural.
"""

from __future__ import annotations

import struct
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

from fretpath.errors import RequestError, ScoreFileError
from fretpath.exchange.assemble import Sound, Voice, key_of_signature
from fretpath.exchange.safety import MOST_NOTES, check_count
from fretpath.music.key import Key
from fretpath.music.melody import Meter
from fretpath.music.pitch import Pitch
from fretpath.music.sounding import likeliest_signature

__all__ = ["read_midi"]

_PERCUSSION = 10
_DENOMINATORS = frozenset((1, 2, 3, 4, 5, 6, 7, 8, 9, 12, 16, 24, 32, 48, 64))


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
        _add_span(voice, start, stop, key[-1].spell(midi), cuts, marks)
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
