"""From the sounds and signs of one voice, as a file has them, to a :class:`Melody`.

**Order of play** (common practice; MusicXML 4.0, elements ``repeat``, ``ending`` and ``sound``; ABC
2.1, 4.8 to 4.10).  A repeat without a sign of its own where it begins goes back to the end of the
one before, or to the start.  Each turn takes the ending with its number.  After a jump (da capo,
dal segno) repeats are not taken again, the last ending is played, ``fine`` ends the piece and ``to
coda`` leads to the coda.  The order is found by playing (``_play_order``).  Where plain repeats
can tell it (:class:`~fretpath.music.melody.Repeat`), they are kept; where they cannot (a jump, a
repeat in a repeat), the piece is written out.

**Bars.**  A file counts in quarter notes, a Melody in beats of the meter in force; bars of a
file may be cut in two by a repeat sign, and may be longer or shorter than their meter.  A Melody
wants every bar but a pickup and the last to add up, and begins a phrase where key or meter
changes.  So two neighboring bars that are one bar cut in two become one, unless a
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
from itertools import accumulate, chain, islice, pairwise
from operator import itemgetter
from typing import Any, NamedTuple, TypeVar

from fretpath.errors import RequestError, ScoreFileError
from fretpath.exchange.door import LIMITS, check_count, one_line
from fretpath.exchange.note_values import bar_length
from fretpath.exchange.voices import ScoreSound, Sign, Voice
from fretpath.music.key import MODES, Key
from fretpath.music.melody import WORKING_OCTAVE, Melody, Meter, Note, Repeat, order_of_play
from fretpath.music.pitch import Pitch
from fretpath.music.text import KEPT
from fretpath.music.words import counted
from fretpath.remarks import Remark

_BARS_A_PHRASE = 4
_LONGEST = 1249  # lengths in beats may be eight times that, and text writes up to 9999
T = TypeVar("T")


class Reading(NamedTuple):
    """A melody out of a file, and what must be said about it."""

    melody: Melody
    """The melody, octave as in the file."""
    remarks: tuple[Remark, ...] = ()
    """What was chosen, rounded or left out; one line a kind."""


def melody_of(voice: Voice, name: str) -> Reading:
    """The melody of a voice, with what must be said about it.

    *name* is the file, for messages.  Raises :class:`ScoreFileError` for a voice without notes.
    """
    _check(voice, name)
    remarks = list(voice.remarks)
    repeats = _repeats_of(voice.signs, len(voice.sounds), name)
    if repeats is None:
        voice, repeats = _write_out(voice, name), ()
        remarks.append(Remark("read", "repeats and jumps are written out as they are played"))
    count = len(voice.sounds)
    keys = _changes(voice.at("key"), count)
    cuts = {at for repeat in repeats for at in repeat.signs if 0 < at < count}
    bars, problem = _VoiceBars.of(voice, cuts).fit()
    remarks.extend(problem)
    tempo, said = _tempo(voice, bars.meters)
    notes = tuple(_notes(voice.sounds, bars.meters))
    phrases = {at for at, _ in voice.at("phrase")} or set(bars.phrases())
    phrases |= {at for at, _ in (*keys, *bars.meters)}
    melody = Melody(
        notes=notes,
        keys=tuple(keys),
        meters=bars.meters,
        bars=bars.starts,
        phrases=tuple(sorted(at for at in phrases if 0 < at < count)),
        octave=_usual_octave(keys, [n.pitch for n in notes if n.pitch and not n.tied]),
        title=one_line(voice.title),
        tempo=tempo,
        repeats=repeats,
        lyrics=tuple(_words(voice.sounds, notes, remarks)),
        chords=tuple(_chords(voice)),
    )
    melody = _put_marks(dict(voice.marks), melody)
    if not _bars_fit(melody, cuts):
        remarks.append(Remark("left out", "the meter: bars at repeat signs do not add up"))
        return melody_of(_without_meter(voice, remarks), name)
    return Reading(melody, tuple(dict.fromkeys((*remarks, *said))))


def _without_meter(voice: Voice, remarks: list[Remark]) -> Voice:
    signs = tuple(sign for sign in voice.signs if sign.kind != "meter")
    return replace(voice, signs=signs, remarks=tuple(remarks))


def _check(voice: Voice, name: str) -> None:
    """Raise :class:`ScoreFileError` for a voice without notes, or with too much of anything."""
    if not any(sound.pitch for sound in voice.sounds):
        raise ScoreFileError(f"{name} holds no pitched note that could be played")
    check_count(len(voice.sounds), "notes", name)
    check_count(len(voice.signs), "signs", name)
    check_count(len(road_signs(voice.signs)), "signs of repeats and jumps", name)
    for sound in voice.sounds:
        if max(sound.length.as_integer_ratio()) > _LONGEST:
            raise ScoreFileError(f"{name} has a length of a note beyond what is read here")


def _word(text: str) -> str:
    """A syllable or chord name as a melody can hold it."""
    word = one_line(text.replace("~", " ").replace("|", " "))
    return "" if word in ("_", "-") else word


def _chords(voice: Voice) -> Iterator[tuple[int, str]]:
    """The names of chords; of two at one place the later holds."""
    for at, name in sorted(dict(voice.at("chord")).items()):
        if at < len(voice.sounds) and (word := _word(name)):
            yield at, word


def _words(
    sounds: Sequence[ScoreSound], notes: Sequence[Note], remarks: list[Remark]
) -> Iterator[tuple[int, str]]:
    for at, (sound, note) in enumerate(zip(sounds, notes, strict=True)):
        word = _word(sound.lyric)
        if word and note.struck:
            yield at, word
        elif word:
            remarks.append(Remark("left out", f'the syllable "{word[:20]}", which no note begins'))


def _changes(marks: Iterable[tuple[int, T]], count: int) -> list[tuple[int, T]]:
    """Real changes only, the first one at the beginning; of two at one place the later holds."""
    last = {at: value for at, value in marks if at < count}
    found: list[tuple[int, T]] = []
    for at, value in sorted(last.items(), key=itemgetter(0)):
        if not found:
            found.append((0, value))
        elif found[-1][1] != value:
            found.append((at, value))
    return found


# -- bars and meters -------------------------------------------------------------------------------


@dataclass(frozen=True)
class _VoiceBars:
    """The bars of a voice, and the meters that they ought to fill."""

    onsets: tuple[Fraction, ...]
    """When each sound begins, and the end, in quarter notes."""
    starts: tuple[int, ...]
    """The first sound of each bar but the first."""
    meters: tuple[tuple[int, Meter], ...]
    """The meters, each with the first sound of its first bar; empty for none."""
    cuts: Set[int]
    """Signs of repeats inside the voice: a bar that begins or ends there may be short."""

    @classmethod
    def of(cls, voice: Voice, cuts: Set[int]) -> _VoiceBars:
        """The bars as they are marked; a meter inside one holds from the next one on."""
        count = len(voice.sounds)
        onsets = accumulate((sound.length for sound in voice.sounds), initial=Fraction(0))
        marks = cuts | {at for at, _ in voice.at("bar")}
        starts = [0, *sorted(at for at in marks if 0 < at < count)]
        told = _changes(voice.at("meter"), count)
        places = ((bisect_left(starts, at), meter) for at, meter in told)
        meters = [(starts[place], meter) for place, meter in places if place < len(starts)]
        return cls(tuple(onsets), tuple(starts[1:]), tuple(_changes(meters, count)), cuts)

    def meter_at(self, sound: int) -> Meter:
        """The meter in force."""
        return self.meters[bisect_right(self.meters, sound, key=itemgetter(0)) - 1][1]

    def spans(self) -> list[tuple[int, int, Fraction]]:
        """Each bar: its first sound, the one behind it, and its length."""
        edges = (0, *self.starts, len(self.onsets) - 1)
        return [(a, b, self.onsets[b] - self.onsets[a]) for a, b in pairwise(edges)]

    def fit(self) -> tuple[_VoiceBars, list[Remark]]:
        """Bars and meters that add up, and what was done about those that did not."""
        if not (self.meters and self.starts):
            return self, []
        whole = self._join()
        odd = [bar for number, bar in enumerate(whole.spans()) if whole._is_odd(number, *bar)]
        fitted, remarks = whole._with_own_meters(odd) if odd else (whole, [])
        return replace(fitted, starts=tuple(sorted({*self.cuts, *whole.starts}))), remarks

    def _join(self) -> _VoiceBars:
        """Without the marks that cut one bar in two."""
        changes = dict(self.meters)
        kept: list[int] = []
        before = Fraction(0)
        for number, (start, _, length) in enumerate(self.spans()):
            whole = bar_length(self.meter_at(start))
            joins = number > 1 and start not in changes and before < whole == before + length
            if number and not joins:
                kept.append(start)
            before = before + length if joins else length
        return replace(self, starts=tuple(kept))

    def _is_odd(self, number: int, start: int, stop: int, length: Fraction) -> bool:
        """Whether a bar does not add up: the first, the last and those at a cut may be short."""
        edge = number in (0, len(self.starts)) or not self.cuts.isdisjoint((start, stop))
        whole = bar_length(self.meter_at(start))
        return length > whole or (length < whole and not edge)

    def _with_own_meters(
        self, odd: Sequence[tuple[int, int, Fraction]]
    ) -> tuple[_VoiceBars, list[Remark]]:
        """A meter of its own for each odd bar; none at all if too many are odd."""
        count = len(self.starts) + 1
        places = f"{counted(len(odd), 'bar')} of {count}"
        changed = dict(self.meters)
        starts = {start for start, _, _ in odd}
        for start, stop, length in odd:
            meter = _own_meter(length, self.meter_at(start).unit)
            if 3 * len(odd) >= count or meter is None:
                verb = "does" if len(odd) == 1 else "do"
                text = f"the meter: {places} {verb} not add up"
                return replace(self, meters=()), [Remark("left out", text)]
            changed[start] = meter
            if stop < len(self.onsets) - 1 and stop not in starts:
                changed.setdefault(stop, self.meter_at(stop))
        said = Remark("read", f"{places} not as long as the meter: given its own meter")
        return replace(self, meters=tuple(sorted(changed.items(), key=itemgetter(0)))), [said]

    def phrases(self) -> tuple[int, ...]:
        """Every fourth bar; a pickup belongs to the first phrase."""
        first = self.starts[:1] if self.meters else ()
        pickup = any(self.onsets[at] < bar_length(self.meters[0][1]) for at in first)
        return self.starts[_BARS_A_PHRASE - 1 + pickup :: _BARS_A_PHRASE]


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


def _own_meter(length: Fraction, unit: int) -> Meter | None:
    for finer in (unit, 4, 8, 16, 32):
        beats = length * finer / 4
        if finer >= unit and beats.denominator == 1 and 1 <= beats <= 64:
            return Meter(int(beats), finer)
    return None


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


def _usual_octave(keys: Sequence[tuple[int, Key]], pitches: Sequence[Pitch]) -> int:
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


# -- the order of play -----------------------------------------------------------------------------

# What is done first where several stand together; from _HERE on also after a jump to the place.
_RANK = {
    kind: rank
    for rank, kind in enumerate(
        ("stop", "ending stop", "to coda", "fine", "da capo", "dal segno", "coda", "segno",
         "start", "ending")
    )
}  # fmt: skip
_HERE = _RANK["coda"]


def road_signs(signs: Sequence[Sign]) -> list[Sign]:
    """The signs that tell what is played when, in order."""
    found = [sign for sign in signs if sign.kind in _RANK]
    codas = [sign for sign in found if sign.kind == "coda"]
    if len(codas) == 2 and not any(sign.kind == "to coda" for sign in found):
        found[found.index(codas[0])] = Sign(codas[0].at, "to coda")  # one sign for both ends
    return sorted(found, key=lambda sign: (sign.at, _RANK[sign.kind]))


def _play_order(signs: Sequence[Sign], count: int, name: str) -> list[range]:
    """Ranges of ``count`` sounds in the order of playing."""
    return _Player(road_signs(signs), count, name).play()


def _repeats_of(signs: Sequence[Sign], count: int, name: str) -> tuple[Repeat, ...] | None:
    """The repeats that tell the same as the signs, or None where plain repeats cannot."""
    try:
        found = tuple(_plain_repeats(road_signs(signs), count))
    except RequestError:  # an ending without notes, or a hundred turns
        return None
    order = list(chain.from_iterable(_play_order(signs, count, name)))
    same = chain.from_iterable(order_of_play(found, count))
    return found if [*islice(same, len(order) + 1)] == order else None


def _write_out(voice: Voice, name: str) -> Voice:
    """The voice as it is played, without signs of repeats and jumps."""
    signs = sorted((s for s in voice.signs if s.kind not in _RANK), key=lambda sign: sign.at)
    places = [sign.at for sign in signs]
    sounds: list[ScoreSound] = []
    found: list[Sign] = []
    for span in _play_order(voice.signs, len(voice.sounds), name):
        here = len(sounds)
        first, stop = bisect_left(places, span.start), bisect_left(places, span.stop)
        held = {sign.kind: sign for sign in signs[:first] if sign.kind in ("key", "meter")}
        found += [replace(sign, at=here) for sign in held.values()]
        found += [Sign(here, kind) for kind in ("bar", "phrase") if here]
        found += [replace(sign, at=sign.at - span.start + here) for sign in signs[first:stop]]
        sounds += voice.sounds[span.start : span.stop]
    return replace(voice, sounds=tuple(sounds), signs=tuple(found))


def _plain_repeats(signs: Sequence[Sign], count: int) -> Iterator[Repeat]:
    start = 0
    endings: list[int] = []
    for sign in (*signs, Sign(count, "start")):
        over = sign.kind in ("start", "stop", "ending stop") and not _goes_on(signs, sign.at)
        if endings and endings[-1] < sign.at and over:
            if len(endings) > 1 or sign.kind == "stop":
                yield Repeat(start, sign.at, len(endings), tuple(endings))
            start, endings = sign.at, []
        elif sign.kind == "stop" and not endings and start < sign.at:
            yield Repeat(start, sign.at, sign.value)
            start = sign.at
        if sign.kind == "start":
            start = sign.at
        elif sign.kind == "ending":
            endings.append(sign.at)


def _goes_on(signs: Sequence[Sign], at: int) -> bool:
    """Whether another ending of the same repeat begins here."""
    return any(sign.at == at and sign.kind == "ending" and 1 not in sign.value for sign in signs)


class _Player:
    """Somebody who plays from the signs."""

    def __init__(self, signs: Sequence[Sign], count: int, name: str) -> None:
        self.signs = signs
        self.count = count
        self.name = name
        self.order: list[range] = []
        self.start = 0
        """Where a repeat goes back to."""
        self.turn = 1
        self.jumped = False

    def play(self) -> list[range]:
        """Ranges of sounds in the order of playing."""
        begin, played, index = 0, 0, 0
        first = 0  # what is done first at the place where playing goes on
        while index < len(self.signs):
            sign = self.signs[index]
            to = self._obey(sign) if sign.at > begin or _RANK[sign.kind] >= first else None
            if to is None:
                index += 1
                if index < len(self.signs) and self.signs[index].at > sign.at:
                    first = 0
                continue
            self._add(begin, sign.at)
            played += sign.at - begin + 1
            if played > LIMITS["notes"]:
                check_count(played, "notes", f"{self.name}, its repeats written out,")
            begin, first = to, _HERE
            index = next((i for i, s in enumerate(self.signs) if s.at >= to), len(self.signs))
            if to == self.count:
                return self.order
        self._add(begin, self.count)
        return self.order

    def _add(self, begin: int, stop: int) -> None:
        """Play on from *begin*: one range with the last where it follows."""
        if self.order and self.order[-1].stop == begin:
            begin = self.order.pop().start
        if begin < stop:
            self.order.append(range(begin, stop))

    def _obey(self, sign: Sign) -> int | None:
        """Where to go on from a sign; None is straight on."""
        match sign.kind:
            case "stop":
                return self._turn_back(sign)
            case "ending":
                return self._ending(sign)
            case "start" if sign.at != self.start:
                self._begin(sign.at)
            case "ending stop" if not _goes_on(self.signs, sign.at):
                self._begin(sign.at)
            case "fine" if self.jumped:
                return self.count
            case "to coda" if self.jumped:
                codas = (s.at for s in self.signs if s.kind == "coda" and s.at >= sign.at)
                return next(codas, None)
            case "da capo":
                return self._jump(0)
            case "dal segno":
                places = [s.at for s in self.signs if s.kind == "segno" and s.at < sign.at]
                return self._jump(places[-1]) if places else None
        return None

    def _begin(self, at: int) -> None:
        """The first turn of what begins here."""
        self.turn, self.start = 1, at

    def _turn_back(self, sign: Sign) -> int | None:
        later = [n for s in self.signs if (s.at, s.kind) == (sign.at, "ending") for n in s.value]
        turns = max(later) if later and min(later) > 1 else sign.value
        if not self.jumped and self.turn < turns and self.start < sign.at:
            self.turn += 1
            return self.start
        self._begin(sign.at)
        return None

    def _ending(self, sign: Sign) -> int | None:
        later = self._later_endings(sign.at)
        if self.jumped:
            return later[-1].at if later else None
        if self.turn in sign.value:
            return None
        if 1 in sign.value and not later and self.turn == 1:
            return None
        wanted = [s.at for s in later if self.turn in s.value]
        if wanted:
            return wanted[0]
        stops = [s.at for s in self.signs if s.at > sign.at and s.kind in ("stop", "ending stop")]
        self._begin(stops[0] if stops else self.start)
        return stops[0] if stops else None

    def _jump(self, to: int) -> int | None:
        if self.jumped:
            return None
        self.jumped = True
        self._begin(to)
        return to

    def _later_endings(self, at: int) -> list[Sign]:
        """The endings of the same group that stand behind a place."""
        found: list[Sign] = []
        for sign in self.signs:
            if sign.at > at and sign.kind in ("start", "segno", "da capo", "dal segno"):
                break
            if sign.at > at and sign.kind == "ending":
                if 1 in sign.value:
                    break
                found.append(sign)
        return found


# -- what no format has a word for -----------------------------------------------------------------


def marks_of(melody: Melody) -> Iterator[tuple[str, str]]:
    """Names and values of what a Melody knows and the open formats have no word for.

    The octave of the tonic (counted from the one a reader would take) and whether it is free, the
    headers, and, as indices of events, phrases and keys; the inverse of what :func:`melody_of`
    does with :attr:`Voice.marks`.  Indices hold only while the number of events is what it was.
    """
    moved = melody.octave - _usual_octave(melody.keys, melody.pitches)
    if moved or melody.octave_free:
        yield "octave", f"{moved:+d}{' free' * melody.octave_free}"
    yield from melody.headers
    yield "events", str(len(melody.notes))
    yield "phrases", " ".join(map(str, melody.phrases)) or "none"
    if any(key.mode not in MODES for _, key in melody.keys):
        yield "keys", "; ".join(f"{at} {key}" for at, key in melody.keys)


def _put_marks(marks: Mapping[str, str], melody: Melody) -> Melody:
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
        return replace(melody, **_marks_of_events(marks, melody))
    except ValueError:  # a field was edited by hand
        return melody


def _marks_of_events(marks: Mapping[str, str], melody: Melody) -> dict[str, Any]:
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
