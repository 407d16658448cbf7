"""From the sounds and signs of one voice, as a file has them, to a :class:`Melody`.

**Theory.**  A file counts in quarter notes, a Melody in beats of the meter in force; bars of a
file may be cut in two by a repeat sign, and may be longer or shorter than their meter.  A Melody
wants every bar but a pickup and the last to add up, and begins a phrase where key or meter
changes.

**What is done about it.**  Two neighboring bars that are one bar cut in two become one, unless a
repeat sign stands between them.  A bar that still does not add up gets a meter of its own, and
this is said; if a third of all bars or more do not add up, the meter is left out instead.  Four
bars make a phrase where the file does not tell.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from operator import itemgetter
from typing import Any, NamedTuple, TypeVar

from fretpath.errors import RequestError, ScoreFileError
from fretpath.exchange.door import check_count, one_line
from fretpath.exchange.repeats import Sign, play_order, repeats_of, road_signs
from fretpath.music.key import MODES, SCALES, Key, scale_named
from fretpath.music.melody import WORKING_OCTAVE, Melody, Meter, Note, Placement
from fretpath.music.pitch import Pitch
from fretpath.music.text import KEPT
from fretpath.music.words import counted
from fretpath.remarks import Remark

_BARS_A_PHRASE = 4
_LONGEST = 1249  # lengths in beats may be eight times that, and text writes up to 9999
_FLATTEST, _NAMES = -15, 35  # Fbb on the line of fifths, and 35 names up to B##
T = TypeVar("T")


def key_of_signature(fifths: int, mode: str | None) -> Key:
    """The key with so many sharps (negative: flats); an unknown mode is read as major.

    >>> str(key_of_signature(-1, "dorian"))
    'G dorian'
    """
    try:
        scale = scale_named(mode or "major")
    except RequestError:
        scale = SCALES["major"]
    scale = scale if scale.name in MODES else SCALES["major"]
    least = _FLATTEST + scale.flattest + 1
    return Key.of_signature(min(max(fifths, least), least + _NAMES - 1), scale.name)


@dataclass(frozen=True, slots=True)
class ScoreSound:
    """One note, rest or continuation."""

    length: Fraction
    """In quarter notes, above 0."""
    pitch: Pitch | None
    """None is a rest."""
    tied: bool = False
    """Whether the file says that it is held over from the sound before."""
    placement: Placement | None = None
    """String and fret that the file gives."""
    lyric: str = ""
    """Its syllable; one that goes on in the next ends in ``-``."""
    chord: str = ""
    """Name of the chord that begins here."""
    signed: bool = True
    """Whether its own accidental is told, and not left to the tie from the note before."""


@dataclass(frozen=True)
class Voice:
    """One voice as a file has it."""

    sounds: tuple[ScoreSound, ...]
    """In order, without gaps."""
    signs: tuple[Sign, ...] = ()
    """Bars, keys, meters and repeats, by the sound they stand before."""
    remarks: tuple[Remark, ...] = ()
    """What was chosen, rounded or left out."""
    title: str = ""
    """What the file calls the tune."""
    marks: tuple[tuple[str, str], ...] = ()
    """Names and values that no format has a word for; see :func:`marks_of`."""

    def at(self, kind: str) -> list[tuple[int, T]]:
        """(sound, value) of the signs of a kind, in the order of the file."""
        return [(sign.at, sign.value) for sign in self.signs if sign.kind == kind]


class Reading(NamedTuple):
    """A melody out of a file, and what must be said about it."""

    melody: Melody
    """The melody, octave as in the file."""
    remarks: tuple[Remark, ...] = ()
    """What was chosen, rounded or left out; one line a kind."""


def left_out(counts: Iterable[str]) -> list[Remark]:
    """One remark for each kind of thing that was left out, such as ``3 grace notes``."""
    found: dict[str, int] = {}
    for what in counts:
        found[what] = found.get(what, 0) + 1
    return [Remark("left out", counted(count, what)) for what, count in sorted(found.items())]


def melody_of(voice: Voice, name: str) -> Reading:
    """The melody of a voice, with what must be said about it.

    *name* is the file, for messages.  Raises :class:`ScoreFileError` for a voice without notes.
    """
    _check(voice, name)
    remarks = list(voice.remarks)
    repeats = repeats_of(voice.signs, len(voice.sounds), name)
    if repeats is None:
        voice, repeats = written_out(voice, name), ()
        remarks.append(Remark("read", "repeats and jumps are written out as they are played"))
    sounds, count = voice.sounds, len(voice.sounds)
    keys: list[tuple[int, Key]] = _changes(voice.at("key"), count)
    cuts = {at for repeat in repeats for at in repeat.signs if 0 < at < count}
    bars, meters, problem = _bars_and_meters(voice, cuts)
    remarks.extend(problem)
    tempo, said = _tempo(voice, meters)
    notes = tuple(_notes(sounds, meters))
    phrases = {at for at, _ in (*keys, *meters)} | _phrases(voice, bars, meters)
    melody = Melody(
        notes=notes,
        keys=tuple(keys),
        meters=tuple(meters),
        bars=tuple(bars),
        phrases=tuple(sorted(at for at in phrases if 0 < at < count)),
        octave=usual_octave(keys, [n.pitch for n in notes if n.pitch and not n.tied]),
        title=one_line(voice.title),
        tempo=tempo,
        repeats=repeats,
        lyrics=tuple(_words(sounds, notes, remarks)),
        chords=tuple((at, word) for at, s in enumerate(sounds) if (word := _word(s.chord))),
    )
    melody = _marked(dict(voice.marks), melody)
    if not _bars_fit(melody, cuts):
        said = [Remark("left out", "the meter: bars at repeat signs do not add up")]
        signs = tuple(sign for sign in voice.signs if sign.kind != "meter")
        return melody_of(replace(voice, signs=signs, remarks=(*remarks, *said)), name)
    return Reading(melody, tuple(dict.fromkeys((*remarks, *said))))


def _check(voice: Voice, name: str) -> None:
    """Raise :class:`ScoreFileError` for a voice without notes, or with too much of anything."""
    if not any(sound.pitch for sound in voice.sounds):
        raise ScoreFileError(f"{name} holds no pitched note that could be played")
    check_count(len(voice.signs), "signs", name)
    check_count(len(road_signs(voice.signs)), "signs of repeats and jumps", name)
    _check_lengths(voice.sounds, name)


def _bars_and_meters(
    voice: Voice, cuts: Set[int]
) -> tuple[list[int], list[tuple[int, Meter]], list[Remark]]:
    """Where bars begin, and the meters that they add up to; *cuts* are the signs of repeats."""
    count = len(voice.sounds)
    meters: list[tuple[int, Meter]] = _changes(voice.at("meter"), count)
    bars = sorted(cuts | {sign.at for sign in voice.signs if sign.kind == "bar"} - {0, count})
    bars = [at for at in bars if 0 < at < count]
    meters = _at_bars(meters, bars)
    if not (meters and bars):
        return bars, meters, []
    whole = _joined_bars(voice.sounds, bars, meters)
    meters, problem = _adding_up(voice.sounds, whole, meters, cuts)
    return sorted(cuts | set(whole)), meters, problem


def _bars_fit(melody: Melody, cuts: Set[int]) -> bool:
    """Whether every bar adds up as melody text wants it."""
    spans = list(melody.spans(melody.whole_bars)) if melody.bars else []
    for number, span in enumerate(spans):
        meter = melody.meter_at(span.start)
        beats = sum((melody.notes[event].beats for event in span), Fraction(0))
        short = number in (0, len(spans) - 1) or not cuts.isdisjoint((span.start, span.stop))
        if meter and (beats > meter.beats or (beats < meter.beats and not short)):
            return False
    return True


def written_out(voice: Voice, name: str) -> Voice:
    """The voice as it is played, without signs of repeats and jumps."""
    road = {sign.kind for sign in road_signs(voice.signs)}
    signs = sorted((s for s in voice.signs if s.kind not in road), key=lambda sign: sign.at)
    places = [sign.at for sign in signs]
    sounds: list[ScoreSound] = []
    found: list[Sign] = []
    for span in play_order(voice.signs, len(voice.sounds), name):
        here, before = len(sounds), bisect_right(places, span.start)
        held = {sign.kind: sign for sign in signs[:before] if sign.kind in ("key", "meter")}
        found += [Sign(here, sign.kind, sign.value) for sign in held.values()]
        found += [Sign(here, kind) for kind in ("bar", "phrase") if here]
        for sign in signs[before:]:
            if sign.at >= span.stop:
                break
            found.append(Sign(sign.at - span.start + here, sign.kind, sign.value))
        sounds += [voice.sounds[span.start], *voice.sounds[span.start + 1 : span.stop]]
    found += [sign for sign in signs if sign.kind == "tempo"]
    return replace(voice, sounds=tuple(sounds), signs=tuple(found))


def _check_lengths(sounds: Sequence[ScoreSound], name: str) -> None:
    """Lengths that a melody can hold at all."""
    for sound in sounds:
        if max(sound.length.as_integer_ratio()) > _LONGEST:
            raise ScoreFileError(f"{name} has a length of a note beyond what is read here")


def _word(text: str) -> str:
    """A syllable or chord name as a melody can hold it."""
    word = one_line(text.replace("~", " ").replace("|", " "))
    return "" if word in ("_", "-") else word


def _words(
    sounds: Sequence[ScoreSound], notes: Sequence[Note], remarks: list[Remark]
) -> Iterator[tuple[int, str]]:
    for at, (sound, note) in enumerate(zip(sounds, notes, strict=True)):
        word = _word(sound.lyric)
        if word and note.struck:
            yield at, word
        elif word:
            remarks.append(Remark("left out", f'the syllable "{word[:20]}", which no note begins'))


def _phrases(voice: Voice, bars: Sequence[int], meters: Sequence[tuple[int, Meter]]) -> set[int]:
    """Where the file begins phrases, or else every fourth bar."""
    told = {sign.at for sign in voice.signs if sign.kind == "phrase"}
    return told or set(bars[_first_break(voice.sounds, bars, meters) :: _BARS_A_PHRASE])


def _changes(marks: Iterable[tuple[int, T]], count: int) -> list[tuple[int, T]]:
    """Real changes only, the first one at the beginning; of two at one place the later holds."""
    last = {at: value for at, value in marks if at < count}
    found: list[tuple[int, T]] = []
    for at, value in sorted(last.items(), key=lambda pair: pair[0]):
        if not found:
            found.append((0, value))
        elif found[-1][1] != value:
            found.append((at, value))
    return found


def _at(changes: Sequence[tuple[int, T]], event: int) -> T:
    return changes[bisect_right(changes, event, key=itemgetter(0)) - 1][1]


def _at_bars(meters: Sequence[tuple[int, Meter]], bars: Sequence[int]) -> list[tuple[int, Meter]]:
    """The meters, each at the bar line where it stands or at the next one."""
    starts = [0, *bars]
    places = ((bisect_left(starts, at), meter) for at, meter in meters)
    moved = [(starts[place], meter) for place, meter in places if place < len(starts)]
    return _changes(moved, starts[-1] + 1)


def _size(meter: Meter) -> Fraction:
    return Fraction(4 * meter.beats, meter.unit)


def _length(sounds: Sequence[ScoreSound], start: int, stop: int) -> Fraction:
    return sum((sound.length for sound in sounds[start:stop]), Fraction(0))


def _joined_bars(
    sounds: Sequence[ScoreSound], bars: Sequence[int], meters: Sequence[tuple[int, Meter]]
) -> list[int]:
    """Bars without the marks that cut one bar in two."""
    spans = list(pairwise((0, *bars, len(sounds))))
    changes = {at for at, _ in meters}
    kept: list[int] = []
    before = Fraction(0)
    for number, (start, stop) in enumerate(spans):
        length = _length(sounds, start, stop)
        whole = _size(_at(meters, start))
        joins = number > 1 and start not in changes and before < whole == before + length
        if number and not joins:
            kept.append(start)
        before = before + length if joins else length
    return kept


def _adding_up(
    sounds: Sequence[ScoreSound],
    bars: Sequence[int],
    meters: Sequence[tuple[int, Meter]],
    cuts: Set[int],
) -> tuple[list[tuple[int, Meter]], list[Remark]]:
    """The meters, with those of odd bars among them; empty if too many bars are odd.

    The first bar, the last and those at a repeat sign (``cuts``) may be short.
    """
    spans = list(pairwise((0, *bars, len(sounds))))
    odd: list[tuple[int, int, Fraction]] = []
    for number, (start, stop) in enumerate(spans):
        length, whole = _length(sounds, start, stop), _size(_at(meters, start))
        edge = number in (0, len(spans) - 1) or not cuts.isdisjoint((start, stop))
        if length > whole or (length < whole and not edge):
            odd.append((start, stop, length))
    if not odd:
        return list(meters), []
    places = f"{counted(len(odd), 'bar')} of {len(spans)}"
    own = [_own_meter(length, _at(meters, start).unit) for start, _, length in odd]
    if 3 * len(odd) >= len(spans) or None in own:
        verb = "does" if len(odd) == 1 else "do"
        return [], [Remark("left out", f"the meter: {places} {verb} not add up")]
    changed = dict(meters)
    starts = {start for start, _, _ in odd}
    for (start, stop, _), meter in zip(odd, own, strict=True):
        back = _at(meters, stop)
        assert meter is not None
        changed[start] = meter
        if stop < len(sounds) and stop not in starts:
            changed.setdefault(stop, back)
    said = Remark("read", f"{places} not as long as the meter: given its own meter")
    return sorted(changed.items(), key=lambda pair: pair[0]), [said]


def _own_meter(length: Fraction, unit: int) -> Meter | None:
    for finer in (unit, 4, 8, 16, 32):
        beats = length * finer / 4
        if finer >= unit and beats.denominator == 1 and 1 <= beats <= 64:
            return Meter(int(beats), finer)
    return None


def _first_break(
    sounds: Sequence[ScoreSound], bars: Sequence[int], meters: Sequence[tuple[int, Meter]]
) -> int:
    """Which bar mark begins the second phrase: a pickup belongs to the first."""
    pickup = bool(bars and meters) and _length(sounds, 0, bars[0]) < _size(meters[0][1])
    return _BARS_A_PHRASE if pickup else _BARS_A_PHRASE - 1


def _notes(sounds: Sequence[ScoreSound], meters: Sequence[tuple[int, Meter]]) -> Iterator[Note]:
    units = {at: meter.unit for at, meter in meters}
    unit = 4
    before: Pitch | None = None
    for index, sound in enumerate(sounds):
        unit = units.get(index, unit)
        pitch = sound.pitch
        if sound.tied and pitch and before and pitch.staff == before.staff and not sound.signed:
            pitch = before  # an accidental holds through a tie over the bar line
        tied = sound.tied and pitch is not None and pitch == before
        yield Note(pitch, sound.length * unit / 4, tied, None if tied else sound.placement)
        before = pitch


def usual_octave(keys: Sequence[tuple[int, Key]], pitches: Sequence[Pitch]) -> int:
    """Octave of the tonic from which the degrees of the struck notes are counted."""
    return keys[0][1].octave_of(pitches) if keys else WORKING_OCTAVE


def _tempo(
    voice: Voice, meters: Sequence[tuple[int, Meter]]
) -> tuple[Fraction | None, list[Remark]]:
    """Beats a minute of the first tempo, and what becomes of the others."""
    tempos: list[tuple[int, Fraction]] = voice.at("tempo")
    if not tempos:
        return None, []
    later = {tempo for _, tempo in tempos} - {tempos[0][1]}
    said = [Remark("left out", counted(len(later), "later tempo"))] if later else []
    unit = meters[0][1].unit if meters else 4
    tempo = Fraction(round(tempos[0][1] * unit / 4 * 1000), 1000)
    if 10 <= tempo <= 400:
        return tempo, said
    text = f"a tempo of {float(tempo):g} beats a minute (10 to 400 are read)"
    return None, [*said, Remark("left out", text)]


# -- what no format has a word for -----------------------------------------------------------------


def marks_of(melody: Melody) -> Iterator[tuple[str, str]]:
    """Names and values of what a Melody knows and the open formats have no word for.

    The octave of the tonic (counted from the one a reader would take) and whether it is free, the
    headers, and, as indices of events, phrases and keys; the inverse of what :func:`melody_of`
    does with :attr:`Voice.marks`.  Indices hold only while the number of events is what it was.
    """
    moved = melody.octave - usual_octave(melody.keys, melody.pitches)
    if moved or melody.octave_free:
        yield "octave", f"{moved:+d}{' free' * melody.octave_free}"
    yield from melody.headers
    yield "events", str(len(melody.notes))
    yield "phrases", " ".join(map(str, melody.phrases)) or "none"
    if any(key.mode not in MODES for _, key in melody.keys):
        yield "keys", "; ".join(f"{at} {key}" for at, key in melody.keys)


def _marked(marks: Mapping[str, str], melody: Melody) -> Melody:
    """The melody with the marks put back that still belong to it."""
    try:
        moved, _, free = marks.get("octave", "+0").partition(" ")
        melody = replace(
            melody,
            octave=min(max(melody.octave + int(moved), -1), 9),
            octave_free=free == "free",
            headers=tuple(
                (name, value) for name in KEPT if (value := one_line(marks.get(name, "")))
            ),
        )
        if marks.get("events") != str(len(melody.notes)):
            return melody
        return replace(melody, **_events_marked(marks, melody))
    except ValueError:  # a field was edited by hand
        return melody


def _events_marked(marks: Mapping[str, str], melody: Melody) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if "phrases" in marks:
        found["phrases"] = tuple(int(word) for word in re.findall(r"\d+", marks["phrases"]))
    keys = tuple(
        (int(match[1]), Key.parse(match[2]))
        for match in re.finditer(r"(\d{1,6}) ([^;]{1,40})", marks.get("keys", ""))
    )
    signatures = [(at, key.signature) for at, key in keys]
    if signatures == [(at, key.signature) for at, key in melody.keys]:
        found["keys"] = keys
    return found


# -- which voice -----------------------------------------------------------------------------------


def chosen_part(
    names: Sequence[str], wanted: str | None, name: str, *, usual: int = 0
) -> tuple[int, int, list[Remark]]:
    """Index of the part that is asked for, number of the voice in it (from 1), and a remark.

    *wanted* is a number from 1, a name, or number and voice as ``2.1``; without a wish the part
    at ``usual`` is taken, and said when there are others.
    """
    listed = ", ".join(f"{n} {text}".strip() for n, text in enumerate(names, start=1))[:200]
    if wanted is None:
        if len(names) == 1:
            return 0, 1, []
        return usual, 1, [Remark("guessed", f"parts: {listed}; part {usual + 1} is read (--part)")]
    number, _, voice = wanted.partition(".")
    known = number.isdecimal() and 1 <= int(number[:6]) <= len(names)
    if known and (voice.isdecimal() or not voice):
        return int(number[:6]) - 1, int(voice[:6] or 1), []
    for index, text in enumerate(names):
        if text.lower() == wanted.strip().lower():
            return index, 1, []
    raise RequestError(f'{name} has no part "{wanted[:40]}" (parts: {listed})')
