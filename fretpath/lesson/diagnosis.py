"""Diagnosis: what is wrong with an answer, and the one simple reason behind it.

**Theory.**  A teacher looks for one reason before counting notes: everything a step high, the
tune numbered from another tonic, 3 always heard as 4, a leap turned round, a bar written twice.
Each finder below looks for one such reason in the pairing of tune and answer and says where it
holds; the mistakes that a reason explains are not told a second time.

**Conventions.**  A shift is told when that is the cheaper account (so for three notes or more) and
little is left to explain beside it.  Everything is shown in the words of the answer: letters for
an answer in letters.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import groupby, pairwise

from fretpath.lesson.answers import (
    ENTER,
    STAY,
    WRONG,
    HeardNote,
    Pair,
    Pairing,
    Shift,
    cheapest_pairing,
    heard_notes,
)
from fretpath.music.key import Degree
from fretpath.music.melody import Melody, Note
from fretpath.music.pitch import OCTAVE
from fretpath.music.words import counted, listed, times
from fretpath.values import Value

KINDS = ("wrong degree", "wrong octave", "swapped", "missed", "added", "wrong length")
"""Everything that can be wrong with a note."""

_LEAST_RUN = 3
_FITTING = 0.75
_SCALE_RUN = 5
_CONTOUR = 0.9
_ALWAYS = 8
"""The price of hearing one degree as another throughout, beside those of the pairing."""
_MOST_LEFT = 1.5
"""The most that may be left to explain beside a shift: the price a note of the tune, on the
average."""


@dataclass(frozen=True)
class Mistake(Value):
    """One thing that is wrong."""

    kind: str
    """One of :data:`KINDS`."""
    place: str
    """Where in the tune: ``bar 2, note 1``; for an added note, what it comes after."""
    expected: str
    """Degree, letter or length in beats of the tune; empty for an added note."""
    answered: str
    """Degree, letter or length in beats of the answer; empty for a missed note."""
    asked: str = ""
    """The plain degree of the tune, such as ``b3``; empty for an added note."""
    given: str = ""
    """The plain degree of the answer; empty for a missed note."""
    mine: int | None = None
    """Note of the tune, from 0; None for an added note."""
    theirs: int | None = None
    """Note of the answer, from 0; None for a missed note."""

    def __str__(self) -> str:
        usual = f"expected {self.expected} but answered {self.answered}"
        words = {
            "missed": f"{self.expected} is missing",
            "added": f"{self.answered} is one note too many",
            "wrong octave": f"{usual} (the octave)",
        }
        return f"{self.place}: {words.get(self.kind, usual)}"


@dataclass(frozen=True)
class Diagnosis(Value):
    """One simple reason for several notes, or for one."""

    kind: str
    """Such as ``shift``, ``octave``, ``always``, ``missing``, ``added``, ``swapped``, ``leap``."""
    text: str
    """One sentence: what happened, and where it begins."""
    notes: int
    """How many notes of the tune (of the answer, where some were added) it explains."""
    cost: int = 0
    """Points it takes off by itself; 0 where its mistakes carry the cost."""
    mistakes: tuple[Mistake, ...] = ()
    """The mistakes it explains, not to be told a second time."""

    @classmethod
    def of(cls, kind: str, text: str, mistakes: Sequence[Mistake]) -> Diagnosis:
        """One reason for some mistakes."""
        return cls(kind, text, len(mistakes), mistakes=tuple(mistakes))

    def __str__(self) -> str:
        return f"{self.text} (costs {counted(self.cost, 'point')})" if self.cost else self.text


class Comparison:
    """A tune and an answer, note against note."""

    def __init__(
        self, melody: Melody, answer: Melody, pairs: Sequence[Pair], *, letters: bool = False
    ) -> None:
        self.melody = melody
        self.written = answer
        self.tune = heard_notes(melody)
        self.answer = heard_notes(answer)
        self.pairs = tuple(pairs)
        self.letters = letters

    @cached_property
    def both(self) -> list[tuple[int, int]]:
        """Note of the tune and note of the answer of every pair that has both."""
        pairs = ((pair.mine, pair.theirs) for pair in self.pairs)
        return [(a, b) for a, b in pairs if a is not None and b is not None]

    def place(self, note: int) -> str:
        """Where a note of the tune stands."""
        return self.melody.place_of(self.melody.struck[note])

    def spell(self, degree: Degree, theirs: int | None = None) -> str:
        """A degree as the answer would write it, near a note of the answer."""
        if not self.letters:
            return str(degree)
        event = self.written.struck[theirs or 0]
        tonic = self.written.tonic_at(event)
        assert tonic is not None
        return (tonic + degree.interval).name

    def plain(self, degree: Degree, theirs: int | None = None) -> str:
        """A degree without its octave as the answer would write it."""
        return self.spell(Degree.parse(degree.plain), theirs)

    def wanted(self, pair: Pair) -> Degree:
        """The degree with which the answer would be right, under the shift of the pair."""
        assert pair.mine is not None
        return pair.shift.degree_for(self.tune[pair.mine])

    def fits(self, pair: Pair) -> bool:
        """Whether the note is right under the shift of the pair, its octave included."""
        if pair.mine is None or pair.theirs is None or pair.swapped:
            return False
        degree, moved = self.answer[pair.theirs].degree, self.wanted(pair)
        if pair.shift.in_steps:
            return degree.steps == moved.steps
        return degree.interval.semitones == moved.interval.semitones

    def same_sound(self, pair: Pair) -> bool:
        """Whether the note is the right sound under the shift of the pair, in some octave."""
        if pair.mine is None or pair.theirs is None:
            return False
        wanted, written = self.wanted(pair), self.answer[pair.theirs].degree
        return (wanted.interval.semitones - written.interval.semitones) % 12 == 0

    @cached_property
    def gaps(self) -> dict[int, int | None]:
        """For each note of the answer, the last note of the tune in front of it."""
        last: int | None = None
        before: dict[int, int | None] = {}
        for pair in self.pairs:
            if pair.theirs is not None:
                before[pair.theirs] = last
            last = last if pair.mine is None else pair.mine
        return before

    def after(self, theirs: int) -> str:
        """The note of the answer before a note."""
        before = self.gaps[theirs]
        return "before the first note" if before is None else f"after {self.place(before)}"

    @cached_property
    def runs(self) -> list[tuple[Shift, tuple[Pair, ...]]]:
        """The pairs from one change of shift to the next."""
        return [(shift, tuple(run)) for shift, run in groupby(self.pairs, key=lambda p: p.shift)]


# -- from melodies to a comparison -----------------------------------------------------------------


def gives_lengths(melody: Melody) -> bool:
    """Whether any note is longer or shorter than a beat."""
    return any(beats != 1 for beats in melody.lengths)


def compare(expected: Melody, answer: Melody, lengths: bool, letters: bool) -> Comparison:
    """Tune and answer paired in the simplest way: with shifts only where they explain more."""
    shifted = _pair_in_bars(expected, answer, lengths, shifts=True)
    compared = Comparison(expected, answer, shifted.pairs, letters=letters)
    entered = sum(shift.octaves is None for shift, _ in compared.runs)
    if not entered:
        return compared
    plain = _pair_in_bars(expected, answer, lengths, shifts=False)
    alone = Comparison(expected, answer, plain.pairs, letters=letters)
    saved = sum(
        WRONG * reason.notes - _ALWAYS
        for reason in reasons_for(alone, mistakes_of(alone, lengths=False), 0, 0)
        if reason.kind == "always"
    )
    left = shifted.price - entered * ENTER
    dearer = plain.price - saved <= shifted.price or left > _MOST_LEFT * len(compared.tune)
    return alone if dearer else compared


def _pair_in_bars(expected: Melody, answer: Melody, lengths: bool, shifts: bool) -> Pairing:
    """The cheapest account; note for note when both have as many notes in every bar.

    An answer in the bars of the tune, or in its rhythm, is kept so unless that is much dearer.
    """
    tune, notes = heard_notes(expected), heard_notes(answer)
    found = cheapest_pairing(tune, notes, lengths=lengths, shifts=shifts)
    in_bars = expected.bars and _notes_in_bars(expected) == _notes_in_bars(answer)
    in_rhythm = gives_lengths(expected) and expected.lengths == answer.lengths
    if not in_bars and not in_rhythm:
        return found
    straight = cheapest_pairing(tune, notes, lengths=lengths, shifts=shifts, gaps=False)
    return straight if 4 * straight.price <= 7 * found.price else found


def _notes_in_bars(melody: Melody) -> list[int]:
    """How many notes are struck in each bar."""
    counts = Counter(melody.bar_numbers[event] for event in melody.struck)
    return [counts[bar] for bar in sorted(counts)]


def in_nearest_octaves(expected: Melody, answer: Melody, lengths: bool) -> Melody:
    """The answer with each note in the octave nearest to the note of the tune it stands for."""
    tune, heard = heard_notes(expected), heard_notes(answer)
    notes = list(answer.notes)
    for one in cheapest_pairing(tune, heard, lengths=lengths, octaves=False).pairs:
        if one.mine is not None and one.theirs is not None:
            wanted = one.shift.degree_for(tune[one.mine]).interval.semitones
            octaves = round((wanted - heard[one.theirs].height) / 12)
            event = answer.struck[one.theirs]
            stop = [*answer.struck, len(notes)][one.theirs + 1]
            for at in range(event, stop):
                notes[at] = _raise_octaves(notes[at], octaves)
    return replace(answer, notes=tuple(notes))


def _raise_octaves(note: Note, octaves: int) -> Note:
    return note if note.pitch is None else replace(note, pitch=note.pitch + OCTAVE.times(octaves))


# -- mistakes --------------------------------------------------------------------------------------


def mistakes_of(compared: Comparison, *, lengths: bool) -> tuple[Mistake, ...]:
    """Everything that is wrong beside the shifts, in order of the tune."""
    sure = _clear_lengths(compared) if lengths else set()
    mistakes = [
        mistake
        for at, pair in enumerate(compared.pairs)
        for mistake in _mistakes_at(compared, pair, at in sure)
    ]
    guessed = {m for _, _, inside in _plain_scales(compared, mistakes) for m in inside}
    return tuple(
        replace(mistake, kind="wrong degree")
        if mistake in guessed and mistake.kind == "swapped"
        else mistake
        for mistake in mistakes
    )


def _mistakes_at(compared: Comparison, pair: Pair, lengths: bool) -> Iterator[Mistake]:
    mine, theirs = pair.mine, pair.theirs
    if mine is None:
        assert theirs is not None
        written = compared.answer[theirs].degree
        shown = compared.spell(written, theirs)
        yield Mistake("added", compared.after(theirs), "", shown, "", written.plain, None, theirs)
        return
    ours = compared.tune[mine].degree
    place = compared.place(mine)
    if theirs is None:
        yield Mistake("missed", place, compared.spell(ours), "", ours.plain, "", mine, None)
        return
    if not compared.fits(pair):
        yield _wrong(compared, pair, place)
    one, other = compared.tune[mine].length, compared.answer[theirs].length
    if lengths and one != other:
        expected, answered = counted(one, "beat"), counted(other, "beat")
        yield Mistake("wrong length", place, expected, answered, mine=mine, theirs=theirs)


def _wrong(compared: Comparison, pair: Pair, place: str) -> Mistake:
    assert pair.mine is not None
    assert pair.theirs is not None
    wanted, written = compared.wanted(pair), compared.answer[pair.theirs].degree
    same = compared.same_sound(pair)
    kind = "swapped" if pair.swapped else "wrong octave" if same else "wrong degree"
    expected, answered = (compared.spell(d, pair.theirs) for d in (wanted, written))
    if compared.letters and kind == "wrong octave":
        way = "higher" if written.interval.semitones > wanted.interval.semitones else "lower"
        answered = f"a {way} {answered}"
    return Mistake(
        kind, place, expected, answered, wanted.plain, written.plain, pair.mine, pair.theirs
    )


def _clear_lengths(compared: Comparison) -> set[int]:
    """Where lengths count: the note is right, its neighbors are, or nothing is out of line."""
    pairs = compared.pairs
    right = [compared.fits(pair) for pair in pairs]
    if not any(pair.lone for pair in pairs):
        return set(range(len(pairs)))
    between = [False, *right, False]
    return {
        at
        for at, fits in enumerate(right)
        if fits or (between[at] and between[at + 2] and pairs[at].mine is not None)
    }


# -- reasons ---------------------------------------------------------------------------------------


def reasons_for(
    compared: Comparison, mistakes: Sequence[Mistake], worth: int, octave: int
) -> Iterator[Diagnosis]:
    """The simple reasons, the widest first; each mistake is explained once.

    *worth* is the points of a note without its length, *octave* those of its octave.
    """
    yield from _shifts(compared, worth, octave)
    left = list(mistakes)
    finders = (
        _missing_signs,
        _wrong_throughout,
        _guesses,
        _missing_notes,
        _added_notes,
        _swapped_notes,
        _turned_leaps,
        _wrong_rhythm,
    )
    for find in finders:
        for found in find(compared, left):
            explained = set(found.mistakes)
            left = [mistake for mistake in left if mistake not in explained]
            yield found


def _shifts(compared: Comparison, worth: int, octave: int) -> Iterator[Diagnosis]:
    first = compared.runs[0][0]
    register = STAY if first.octaves is None else first
    for shift, run in compared.runs:
        paired = [pair for pair in run if not pair.lone]
        if not paired or shift == register:
            continue
        if shift.octaves is None:
            cost = -(-len(paired) * worth // 2)
            yield Diagnosis("shift", _shift_words(compared, shift, run), len(paired), cost)
        else:
            way = "high" if shift.size > register.size else "low"
            where = f"{_stretch(compared, run)}{_turn(compared, paired[0])}"
            text = f"{where} everything is an octave too {way}; the degrees are right"
            yield Diagnosis("octave", text, len(paired), octave)


def _shift_words(compared: Comparison, shift: Shift, run: Sequence[Pair]) -> str:
    start = next(pair for pair in run if compared.fits(pair))
    if len(compared.runs) == 1:
        where, size = _home(compared, start), _size(_nearest(shift))
    else:
        where, size = f"{_stretch(compared, run)}{_turn(compared, start)} ", _size(shift)
    return f"{where}everything is {size}; the shape is right"


def _home(compared: Comparison, start: Pair) -> str:
    """In which way a whole answer is shifted: letters of another key, another tonic, a start."""
    shift = start.shift
    assert start.mine is not None
    assert start.theirs is not None
    tonic = HeardNote(Degree(0, 0), Fraction(1), compared.tune[start.mine].scale)
    wanted = compared.spell(tonic.degree, start.theirs)
    written = compared.spell(shift.degree_for(tonic), start.theirs)
    if compared.letters:
        return f"the letters are those of another key, {written} instead of {wanted}: "
    minor = tonic.scale[2] == -1
    if not shift.in_steps and shift.size % 12 == (9 if minor else 3):
        relative = "major" if minor else "minor"
        return f"numbered from the relative {relative}, {written} for the tonic 1: "
    first = compared.tune[start.mine].degree
    answered = compared.answer[start.theirs].degree
    shown = answered if _nearest(shift) == shift else answered.plain
    return f"started on {shown} instead of {first}: "


def _stretch(compared: Comparison, run: Sequence[Pair]) -> str:
    """From where to where a run goes."""
    mine = [pair.mine for pair in run if pair.mine is not None]
    if run[-1] == compared.pairs[-1]:
        return f"from {compared.place(mine[0])} on"
    return f"from {compared.place(mine[0])} to {compared.place(mine[-1])}"


def _turn(compared: Comparison, start: Pair) -> str:
    """The interval on which a shift begins: ``3 up to 5 was answered 3 up to 6``."""
    mine, theirs = start.mine, start.theirs
    if not mine or not theirs:
        return ""
    ours = [compared.tune[note].degree for note in (mine - 1, mine)]
    written = [compared.answer[note].degree for note in (theirs - 1, theirs)]
    expected, answered = _motion(compared, ours), _motion(compared, written)
    return f" ({expected} was answered {answered})"


def _motion(compared: Comparison, degrees: Sequence[Degree]) -> str:
    before, after = degrees
    rise = after.interval.semitones - before.interval.semitones
    way = "up to" if rise > 0 else "down to" if rise < 0 else "and again"
    return f"{compared.spell(before)} {way} {compared.spell(after)}"


_STEPS = ("", "one step", "a third", "a fourth", "a fifth", "a sixth", "a seventh", "an octave")
_SEMITONES = (
    "", "a half step", "a whole step", "a minor third", "a third", "a fourth", "a tritone",
    "a fifth", "a minor sixth", "a sixth", "a minor seventh", "a seventh",
)  # fmt: skip


def _nearest(shift: Shift) -> Shift:
    """A whole answer has no octave of its own: a seventh too low is one step too high."""
    octave, most = (7, 4) if shift.in_steps else (12, 7)
    if abs(shift.size) <= most:
        return shift
    rest = shift.size % octave
    return replace(shift, size=rest if rest <= most else rest - octave)


def _size(shift: Shift) -> str:
    """``one step too high``; more than an octave is told as an octave and the rest."""
    octaves, rest = divmod(abs(shift.size), 7 if shift.in_steps else 12)
    name = (_STEPS if shift.in_steps else _SEMITONES)[rest]
    more = " and an octave" if octaves else ""
    return f"{name}{more} too {'high' if shift.size > 0 else 'low'}"


def _wrong_throughout(compared: Comparison, mistakes: Sequence[Mistake]) -> Iterator[Diagnosis]:
    """One degree heard as another wherever it stands (three times of four, from three on)."""
    asked = Counter(compared.tune[mine].degree.plain for mine, _ in compared.both)
    groups: dict[tuple[str, str], list[Mistake]] = defaultdict(list)
    for mistake in mistakes:
        if mistake.kind == "wrong degree":
            groups[mistake.asked, mistake.given].append(mistake)
    for (ours, theirs), group in groups.items():
        count, all_times = len(group), asked[ours]
        if count >= 2 and (count == all_times or (count > 2 and count >= _FITTING * all_times)):
            one, other = (compared.plain(Degree.parse(name)) for name in (ours, theirs))
            often = f"{times(count)}" if count == all_times else f"{count} of {all_times} times"
            text = f"each {one} was answered {other} ({often}: {_places(compared, group)})"
            yield Diagnosis.of("always", text, group)


def _missing_signs(compared: Comparison, mistakes: Sequence[Mistake]) -> Iterator[Diagnosis]:
    """The sharps or flats of the key left out of an answer in letters."""
    left_out = [
        mistake
        for mistake in mistakes
        if mistake.kind == "wrong degree"
        and compared.letters
        and mistake.expected.rstrip("#b") == mistake.answered != mistake.expected
    ]
    names = sorted({mistake.expected for mistake in left_out})
    if len(names) > 1:
        signs = "sharps" if "#" in names[0] else "flats"
        text = f"the {signs} are left out: {', '.join(f'{n[0]} for {n}' for n in names)}"
        yield Diagnosis.of("signs", text, left_out)


def _places(compared: Comparison, mistakes: Iterable[Mistake]) -> str:
    notes = [mistake.mine for mistake in mistakes if mistake.mine is not None]
    if compared.melody.bars:
        return listed([compared.place(note).split(",")[0] for note in notes])
    return listed([compared.place(note) for note in notes])


def _missing_notes(compared: Comparison, mistakes: Sequence[Mistake]) -> Iterator[Diagnosis]:
    missed = [mistake for mistake in mistakes if mistake.kind == "missed"]
    merged = _repeats_once(compared, missed)
    if merged:
        yield merged
        return
    for run in _in_a_row(missed, "mine"):
        first, last = run[0].mine, run[-1].mine
        assert first is not None
        assert last is not None
        if last == len(compared.tune) - 1 and len(run) > 1 and first:
            text = f"it stops after {compared.place(first - 1)}: {len(run)} notes are missing"
        elif first == 0 and _is_pickup(compared, last):
            text = f"the pickup is missing ({' '.join(m.expected for m in run)})"
        elif len(run) > 1:
            bars = _whole_bars(compared, first, last)
            where = f"{compared.place(first)} to {compared.place(last)}"
            text = f"{bars} missing" if bars else f"{len(run)} notes are missing: {where}"
        else:
            continue
        yield Diagnosis.of("missing", text, run)


def _whole_bars(compared: Comparison, first: int, last: int) -> str:
    """``bar 2 is`` or ``bars 1 to 2 are`` when the notes fill bars; empty otherwise."""
    melody = compared.melody
    numbers = [melody.bar_numbers[event] for event in melody.struck]
    low, high = numbers[first], numbers[last]
    if not melody.bars or low in numbers[:first] or high in numbers[last + 1 :]:
        return ""
    return f"bar {low} is" if low == high else f"bars {low} to {high} are"


def _is_pickup(compared: Comparison, last: int) -> bool:
    melody = compared.melody
    if not melody.has_pickup:
        return False
    return last == sum(event < melody.bars[0] for event in melody.struck) - 1


def _repeats_once(compared: Comparison, missed: Sequence[Mistake]) -> Diagnosis | None:
    """Every repeated note written once."""
    repeated = {
        note
        for note, (before, after) in enumerate(pairwise(compared.tune), start=1)
        if before.height == after.height
    }
    gone = {mistake.mine for mistake in missed}
    if len(gone) < 2 or gone != repeated:
        return None
    text = f"each repeated note is written once only: {len(gone)} notes are missing"
    return Diagnosis.of("repeated", text, missed)


def _in_a_row(mistakes: Sequence[Mistake], side: str) -> Iterator[list[Mistake]]:
    """Mistakes at notes of one side that follow one another."""
    for _, run in groupby(enumerate(mistakes), key=lambda row: getattr(row[1], side) - row[0]):
        yield [mistake for _, mistake in run]


def _added_notes(compared: Comparison, mistakes: Sequence[Mistake]) -> Iterator[Diagnosis]:
    for run in _in_a_row([m for m in mistakes if m.kind == "added"], "theirs"):
        if len(run) < 2:
            continue
        first, count = run[0].theirs, len(run)
        assert first is not None
        notes = [note.height for note in compared.answer]
        twice = notes[first : first + count] in (
            notes[max(0, first - count) : first],
            notes[first + count : first + 2 * count],
        )
        heard = " ".join(mistake.answered for mistake in run)
        words = "are written twice" if twice else "are too many"
        text = f"{count} notes {words}, {run[0].place}: {heard}"
        yield Diagnosis.of("twice" if twice else "added", text, run)


def _swapped_notes(compared: Comparison, mistakes: Sequence[Mistake]) -> Iterator[Diagnosis]:
    swapped = sorted(
        (m for m in mistakes if m.kind == "swapped"), key=lambda mistake: mistake.mine or 0
    )
    for one, other in zip(swapped[::2], swapped[1::2], strict=True):
        text = f"{one.place}: {one.expected} and {other.expected} are swapped"
        yield Diagnosis.of("swapped", text, (one, other))


def _guesses(compared: Comparison, mistakes: Sequence[Mistake]) -> Iterator[Diagnosis]:
    """A plain scale, or one bar again, in place of what was not heard."""
    for start, stop, wrong in _plain_scales(compared, mistakes):
        ends = [compared.spell(compared.answer[at].degree, at) for at in (start, stop - 1)]
        places = [mistake.place.removeprefix("after ") for mistake in wrong]
        where = f"from {places[0]} to {places[-1]}"
        text = f"a plain scale, {' to '.join(ends)}, stands {where} (a guess?)"
        yield Diagnosis.of("scale", text, wrong)
        return
    yield from _copied_bars(compared, mistakes)


def _plain_scales(
    compared: Comparison, mistakes: Sequence[Mistake]
) -> Iterator[tuple[int, int, list[Mistake]]]:
    """Plain scales in the answer where three notes or more are wrong, and these."""
    for start, stop in _scale_runs(compared.answer):
        wrong = _inside(compared, mistakes, start, stop)
        if len(wrong) >= _LEAST_RUN:
            yield start, stop, wrong


def _scale_runs(answer: Sequence[HeardNote]) -> Iterator[tuple[int, int]]:
    """Stretches of the answer that go one way by steps, five notes or more."""
    ways = [after.degree.steps - before.degree.steps for before, after in pairwise(answer)]
    start = 0
    for way, group in groupby(ways):
        count = len(list(group))
        if abs(way) == 1 and count + 1 >= _SCALE_RUN:
            yield start, start + count + 1
        start += count


def _inside(
    compared: Comparison, mistakes: Sequence[Mistake], start: int, stop: int
) -> list[Mistake]:
    """The mistakes at the notes start to stop of the answer, and missed ones between them."""
    notes = [mine for mine, theirs in compared.both if start <= theirs < stop]
    low, high = min(notes, default=0), max(notes, default=-1)
    return [
        mistake
        for mistake in mistakes
        if mistake.kind != "wrong length"
        and (
            (mistake.theirs is not None and start <= mistake.theirs < stop)
            or (mistake.mine is not None and low <= mistake.mine <= high)
        )
    ]


def _copied_bars(compared: Comparison, mistakes: Sequence[Mistake]) -> Iterator[Diagnosis]:
    """A bar that is answered like an earlier one of the answer, though the tune's is another."""
    bars: dict[int, list[int]] = defaultdict(list)
    numbers = compared.melody.bar_numbers
    for mine, theirs in compared.both:
        bars[numbers[compared.melody.struck[mine]]].append(theirs)
    heard = {
        bar: tuple(compared.answer[note].height for note in notes) for bar, notes in bars.items()
    }
    for bar, notes in bars.items():
        like = next((b for b in bars if b < bar and heard[b] == heard[bar]), None)
        if like is None or len(notes) < _LEAST_RUN:
            continue
        wrong = [m for m in mistakes if m.theirs in notes and m.kind == "wrong degree"]
        if len(wrong) >= 2:
            text = f"bar {bar} is answered like bar {like} again (a guess?)"
            yield Diagnosis.of("copied", text, wrong)


def _turned_leaps(compared: Comparison, mistakes: Sequence[Mistake]) -> Iterator[Diagnosis]:
    """A leap of the right size in the wrong direction."""
    fitting = {pair.mine: pair.theirs for pair in compared.pairs if compared.fits(pair)}
    for mistake in mistakes:
        mine, theirs = mistake.mine, mistake.theirs
        if mistake.kind != "wrong degree" or not mine or not theirs:
            continue
        if fitting.get(mine - 1, -1) != theirs - 1:
            continue
        ours = [compared.tune[note].degree for note in (mine - 1, mine)]
        written = [compared.answer[note].degree for note in (theirs - 1, theirs)]
        leap, answered = (after.steps - before.steps for before, after in (ours, written))
        if abs(leap) >= 2 and answered == -leap:
            expected, given = _motion(compared, ours), _motion(compared, written)
            text = f"{mistake.place}: the leap {expected} was turned round, answered {given}"
            yield Diagnosis.of("leap", text, (mistake,))


def _wrong_rhythm(compared: Comparison, mistakes: Sequence[Mistake]) -> Iterator[Diagnosis]:
    """Right notes, wrong lengths."""
    wrong = [mistake for mistake in mistakes if mistake.kind == "wrong length"]
    if len(wrong) > 1 and all(map(compared.fits, compared.pairs)):
        text = f"all notes are right; the rhythm is wrong in {_places(compared, wrong)}"
        yield Diagnosis("rhythm", text, len(wrong))


def in_contour(compared: Comparison) -> Comparison | None:
    """Tune and answer paired straight through, when the answer goes up and down as the tune does.

    None when they have not as many notes, or fewer than five.
    """
    tune, answer = compared.tune, compared.answer
    if len(tune) != len(answer) or len(tune) < _SCALE_RUN:
        return None
    turns = [
        [_sign(after.height - before.height) for before, after in pairwise(notes)]
        for notes in (tune, answer)
    ]
    agreeing = sum(one == other for one, other in zip(*turns, strict=True))
    if agreeing < _CONTOUR * len(turns[0]):
        return None
    pairs = [Pair(note, note) for note in range(len(tune))]
    return Comparison(compared.melody, compared.written, pairs, letters=compared.letters)


def _sign(number: int) -> int:
    return (number > 0) - (number < 0)


def known_by_stretches(compared: Comparison) -> list[Pair]:
    """The right notes that stand three or more in a row: more than chance puts in place."""
    return [
        pair
        for fits, run in groupby(compared.pairs, key=compared.fits)
        if fits and len(notes := list(run)) >= _LEAST_RUN
        for pair in notes
    ]
