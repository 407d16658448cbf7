"""Standard MIDI files, written.

**Conventions.**  Written files are format 0, 5040 ticks a quarter note (all lengths down to
64th notes, triplets, quintuplets and septuplets are whole ticks), channel 1, the sounding octave,
the General MIDI Level 1 program of the instrument.  A pickup is a first bar with a meter of its
own.  A note lasts its whole length.  :mod:`fretpath.exchange.midi_reading` is the other way.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from fractions import Fraction

from fretpath.errors import RequestError
from fretpath.exchange.values import quarters
from fretpath.music.melody import Melody, Meter

__all__ = ["write_midi"]

TICKS = 5040
_DEFAULT_TEMPO = 120


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
