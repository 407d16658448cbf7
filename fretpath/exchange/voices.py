"""One voice out of a music21 score: notes, rests and ties in order, with what stands around them.

A chord gives its highest note (or its lowest, on request).  Grace notes, chord symbols and
percussion are left out and counted.  Several voices in one part are told apart, the first is
taken unless another is asked for.  Written pitches of transposing instruments are turned into
sounding ones by music21.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from fretpath.errors import FretpathError, RequestError, ScoreFileError
from fretpath.exchange.assemble import Sound, Voice, key_of_signature
from fretpath.music.melody import Meter, Placement
from fretpath.music.pitch import Pitch

__all__ = ["chosen_part", "part_names", "read_voice"]


def part_names(score: Any) -> list[str]:
    """What the parts of a music21 score are called, in order."""
    return [" ".join(str(part.partName or part.id or "").split())[:40] for part in _parts(score)]


def _parts(score: Any) -> list[Any]:
    parts = list(getattr(score, "parts", ()))
    return parts or [score]


def chosen_part(
    score: Any, wanted: str | None, voice: Voice, *, tab: bool, name: str
) -> tuple[Any, int]:
    """The part and the number of the voice in it that ``wanted`` asks for (``2``, ``2.1``, name).

    Without a wish: the first part with pitched notes that is not a tab staff (or that is, with
    *tab*).
    """
    parts, names = _parts(score), part_names(score)
    if wanted is not None:
        return _part_named(wanted, parts, names, name)
    pitched = [part for part in parts if any(True for _ in _pitched(part))]
    if not pitched:
        raise ScoreFileError(f"{name} holds no pitched note that could be played")
    tabs = [part for part in pitched if _is_tab(part)]
    plain = [part for part in pitched if part not in tabs]
    ordered = tabs + plain if tab else plain + tabs
    if len(plain) > 1 or len(tabs) > 1:
        listed = ", ".join(f"{n} {text}".strip() for n, text in enumerate(names, start=1))
        number = parts.index(ordered[0]) + 1
        voice.remarks.append(f"parts: {listed[:200]}; part {number} is read (--part)")
    return ordered[0], 1


def _part_named(wanted: str, parts: list[Any], names: list[str], name: str) -> tuple[Any, int]:
    number, _, second = wanted.partition(".")
    if number.isdecimal() and (second.isdecimal() or not second):
        if 1 <= int(number[:6]) <= len(parts):
            return parts[int(number) - 1], int(second[:6] or 1)
    else:
        for part, text in zip(parts, names, strict=True):
            if text.lower() == wanted.lower():
                return part, 1
    listed = ", ".join(f"{n} {text}".strip() for n, text in enumerate(names, start=1))
    raise RequestError(f'{name} has no part "{wanted[:40]}" (parts: {listed[:200]})')


def _pitched(part: Any) -> Iterator[Any]:
    return (item for item in part.recurse().notes if getattr(item, "pitches", ()))


def _is_tab(part: Any) -> bool:
    return any(clef.sign == "TAB" for clef in part.recurse().getElementsByClass("Clef"))


def read_voice(
    part: Any, number: int, voice: Voice, *, lowest: bool, places: bool, name: str
) -> None:
    """Fill ``voice`` from voice ``number`` (from 1) of a music21 part."""
    part = _sounding(part)
    measures = list(part.getElementsByClass("Measure")) or [part]
    most = max(len(_voices_of(measure)) for measure in measures)
    if not 1 <= number <= most:
        raise RequestError(f"{name}: this part has voices 1 to {most}, not {number}")
    if most > 1:
        voice.remarks.append(f"{most} voices in this part; voice {number} is read (--part 1.2)")
    reader = _Reader(voice, lowest=lowest, places=places)
    for measure in measures:
        if voice.sounds:
            voice.bars.append(len(voice.sounds))
        reader.measure(measure, number)


def _sounding(part: Any) -> Any:
    transposing = any(
        instrument.transposition is not None
        for instrument in part.recurse().getElementsByClass("Instrument")
    )
    return part.toSoundingPitch() if transposing else part


def _voices_of(measure: Any) -> list[Any]:
    return list(measure.voices) or [measure]


class _Reader:
    """Walks the measures of a part and writes down one voice."""

    def __init__(self, voice: Voice, *, lowest: bool, places: bool) -> None:
        self.voice = voice
        self.lowest = lowest
        self.places = places

    def measure(self, measure: Any, number: int) -> None:
        """One measure: signs and notes by their place in it, gaps filled with rests."""
        voices = _voices_of(measure)
        inner = voices[number - 1] if number <= len(voices) else None
        items = [item for item in measure if not item.isStream]
        if inner is not None and inner is not measure:
            items += [item for item in inner if not item.isStream]
        items.sort(key=lambda item: item.offset)
        now = Fraction(0)
        for item in items:
            begin = _exact(item.offset)
            kind = item.classSet
            if "GeneralNote" in kind:
                now = self._note(item, kind, begin, now)
            else:
                self._sign(item, kind)
        whole = _exact(measure.highestTime)
        if now < whole and (len(voices) > 1 or inner is None):
            self._add(Sound(whole - now, None))

    def _note(self, item: Any, kind: Any, begin: Fraction, now: Fraction) -> Fraction:
        """Write down one note, chord or rest; returns where the next one begins."""
        count = max(1, len(getattr(item, "pitches", ())))
        length = _exact(item.duration.quarterLength)
        if "Harmony" in kind:
            self.voice.left_out["chord symbols"] += 1
            return now
        if item.duration.isGrace or length <= 0:
            self.voice.left_out["grace notes"] += count
            return now
        if begin < now:
            self.voice.left_out["notes under another one"] += count
            return now
        if begin > now:
            self._add(Sound(begin - now, None))
        self._add(self._sound(item, kind, length))
        return begin + length

    def _sound(self, item: Any, kind: Any, length: Fraction) -> Sound:
        if "Rest" in kind:
            return Sound(length, None)
        pitches = list(getattr(item, "pitches", ()))
        if not pitches:
            self.voice.left_out["percussion notes"] += 1
            return Sound(length, None)
        note = item
        if "Chord" in kind:
            self.voice.left_out[
                "lower notes of chords" if not self.lowest else "upper notes of chords"
            ] += len(pitches) - 1
            pick = min if self.lowest else max
            note = pick(item.notes, key=lambda one: one.pitch.ps)
        tie = note.tie or item.tie
        tied = tie is not None and tie.type in ("stop", "continue")
        return Sound(length, self._pitch(note.pitch), tied, self._placement(note, item))

    def _pitch(self, pitch: Any) -> Pitch:
        alter = Fraction(pitch.alter)
        if alter.denominator != 1:
            self.voice.remarks.append("quarter tones are rounded to the note below")
        octave = pitch.octave if pitch.octave is not None else pitch.implicitOctave
        if abs(alter) > 3 or not -1 <= octave <= 9:
            raise ScoreFileError(f"{pitch.nameWithOctave} is outside every instrument")
        return Pitch.spelled(pitch.step, int(alter // 1), octave)

    def _placement(self, *items: Any) -> Placement | None:
        if not self.places:
            return None
        marks = {
            mark.name: mark.number
            for item in items
            for mark in item.articulations
            if mark.name in ("string indication", "fret indication")
        }
        string, fret = marks.get("string indication"), marks.get("fret indication")
        return None if string is None and fret is None else Placement(string, fret)

    def _sign(self, item: Any, kind: Any) -> None:
        at = len(self.voice.sounds)
        if "KeySignature" in kind:
            mode = getattr(item, "mode", None)
            if mode is None:
                self.voice.remarks.append("a key signature without a mode is read as major")
            self.voice.keys.append((at, key_of_signature(item.sharps, mode)))
        elif "TimeSignature" in kind:
            meter = _meter(item)
            if meter:
                self.voice.meters.append((at, meter))
        elif "MetronomeMark" in kind and self.voice.tempo is None:
            per_minute = item.getQuarterBPM()
            if per_minute:
                self.voice.tempo = Fraction(per_minute).limit_denominator(1000)
        elif "TempoIndication" in kind and "MetronomeMark" in kind:
            self.voice.remarks.append("only the first tempo is kept")

    def _add(self, sound: Sound) -> None:
        self.voice.sounds.append(sound)


def _exact(number: Any) -> Fraction:
    return Fraction(number).limit_denominator(65535)


def _meter(item: Any) -> Meter | None:
    try:
        return Meter.parse(f"{int(item.numerator)}/{int(item.denominator)}")
    except (FretpathError, TypeError, ValueError):
        return None
