"""Where a melody leaves its scale: for each of its keys, what holds the notes and what does not.

For each key: the smallest scale that holds everything, the mode (or modes) of the seven that hold
most of it, each note outside the stated scale, and the smallest account of them.

**Rules.**  Each rule takes a passage with the scale it is measured against and the notes outside
it that no rule before has explained, and accounts for some of them.  In this order
(:data:`RULES`, common practice throughout):

1. *added*: a smaller scale (pentatonic, blues) only leaves the degree out.
2. *wrong key*: the tune is in the key a fifth up or down, or in the relative or second degree's
   minor: its own degree sounds throughout, and the tune closes on its tonic.
3. *mode*: another scale holds the whole tune, or the other third sounds throughout.
4. *parallel*, *modulation*: a section in another key (:mod:`fretpath.music.roles`).
5. *raised_minor*, *picardy*: the raised 6 and 7 of minor; the major third of its closing chord.
6. *blue*: the flat third, fifth or seventh beside the plain one, in a tune without 4 and 7 or with
   a free b7.
7. *mode* again: one degree replaces its plain form throughout, or all but once.
8. *anticipation*; then *borrowed*: notes side by side from the parallel key (``b6 b7 1``).
9. *neapolitan*: the flat second of its chord with 4 and b6, or before 7 in minor.
10. *leading*: a leading note in its broken dominant, which goes to the goal (``2 #4 6 5``).
11. *applied7*: b7 that falls to 6, the seventh of the dominant of 4.
12. The note's own role (:mod:`fretpath.music.roles`).
13. *leading* where the goal comes soon, else *borrowed* from the parallel key, else *free*.

**A degree of a mode or a chromatic note?**  A raised note that always goes by a half step to the
next degree, as neighbor, enclosure or appoggiatura, is chromatic even where its plain form never
sounds; the mode is then told beside it.  A lowered one is chromatic only beside its plain form,
since upper neighbors are usually those of the scale.  Notes that step through the scale or leap
away count for the mode.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Container, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import dropwhile, groupby

from fretpath.music.key import MODES, SCALES, Degree, Key, Scale
from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval
from fretpath.music.roles import (
    KeyArea,
    Notes,
    Passage,
    Role,
    is_step,
    modulations,
    named_degree,
    parallel_sections,
    passages,
    role,
)
from fretpath.music.scales import difference
from fretpath.music.spelling import SpelledNote
from fretpath.music.words import plural, times
from fretpath.values import Value

KINDS = {
    "added": "a degree of the full scale that a smaller scale leaves out",
    "wrong_key": "the tune is in another key than the stated one",
    "mode": "a regular degree of another scale on the same tonic",
    "parallel": "a section in the parallel minor or major",
    "modulation": "a section in the key of another degree",
    "raised_minor": "the raised 6 and 7 of minor, normal there",
    "picardy": "the major third that closes a tune in minor",
    "blue": "a blue third, fifth or seventh beside the plain one",
    "borrowed": "a degree of the parallel key in a tune that keeps its own",
    "neapolitan": "the flat second of a flat-second chord before dominant or tonic",
    "leading": "the leading note of another degree",
    "applied7": "the seventh of the dominant of another degree, falling a step",
    "anticipation": "a short note struck again over the bar line, where it belongs",
    "neighbor": "a step away from a note and back",
    "passing": "stepwise in and out in one direction",
    "enclosure": "one of two notes that surround the next one",
    "appoggiatura": "leapt to, left by a half step",
    "escape": "reached by step, left by leap",
    "free": "both forms of the degree, without a role of its own",
}
"""Every kind of account and what it means."""

_ORDINALS = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh")
_SEVENTH = "seventh of the dominant of 4"
_MINOR_FORMS = ("harmonic minor", "melodic minor")
_LEANING = ("neighbor", "enclosure", "appoggiatura")
_FEWEST_REGULAR = 3
"""Notes of a degree from which on one plain form is an exception; chosen by trial."""
_SOON = 3
"""Notes within which a leading note finds its goal; chosen by trial."""

# When several modes hold a tune equally well, the commoner one comes first (common practice).
COMMON_FIRST = tuple(
    SCALES[name]
    for name in (
        "major",
        "natural minor",
        "mixolydian",
        "dorian",
        "lydian",
        "phrygian",
        "locrian",
    )
)
"""The seven modes, the commoner first."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """Another account of the same notes that the tune leaves open."""

    kind: str
    """Its kind, one of :data:`KINDS`."""
    argument: str
    """Its argument, as in :class:`Account`."""
    title: str
    """A teacher's name for it."""
    decides: str
    """The note that would decide, such as ``a plain 4 would decide``."""


@dataclass(frozen=True, slots=True)
class Account(Value):
    """Why some notes are outside the scale."""

    kind: str
    """One of :data:`KINDS`."""
    argument: str
    """The scale of a mode, ``minor`` or ``major`` for the parallel key, the degree (and mode) of
    another key, the goal of a leading note or seventh, ``lower`` or ``upper`` for a neighbor;
    else empty."""
    title: str
    """A teacher's name for it, such as ``lydian`` or ``lower neighbor``."""
    degrees: tuple[str, ...]
    """The degrees it accounts for."""
    notes: tuple[int, ...]
    """Indices of its notes among the struck notes."""
    evidence: str
    """The evidence of the tune, in one line."""
    bars: tuple[int, int] | None = None
    """First and last bar of a section; None for single notes."""
    doubts: tuple[Doubt, ...] = ()
    """Other accounts that the tune leaves open; mostly none."""

    @property
    def normal(self) -> bool:
        """True for what belongs to the key all the same: the raised 6 and 7 of minor."""
        return self.kind == "raised_minor"


@dataclass(frozen=True, slots=True)
class Departure(Value):
    """One note outside the stated scale."""

    note: int
    """Index among the struck notes of the melody."""
    bar: int
    """Bar number, 0 for a pickup."""
    place: str
    """``bar 3``, ``pickup``, or ``note 7`` where the text has no bar lines."""
    degree: Degree
    """The degree, with its octave."""
    name: str
    """The degree in words, such as ``raised fourth``."""
    kind: str
    """The kind of its account, one of :data:`KINDS`."""


@dataclass(frozen=True)
class ScaleReading(Value):
    """One passage (the notes under one key) against its scale."""

    key: Key
    """The key as stated."""
    stated: Scale
    """The scale its notes are measured against."""
    place: str
    """Where it stands: ``bars 1 to 8`` or ``notes 1 to 12``."""
    smallest: Scale | None
    """The smallest known scale that holds every note; None if there is none."""
    modes: tuple[Scale, ...]
    """Of the seven modes, those that hold most of the passage; the commonest first."""
    share: Fraction
    """Part of the sounding time that these modes hold, 0 to 1."""
    undecided: tuple[str, ...]
    """Degrees that would decide between several modes, where no form of them sounds."""
    color: str
    """Degrees that set a mode apart from plain major or minor (or a later key on the same tonic
    from the first one), and where they sound; empty if nothing does."""
    departures: tuple[Departure, ...]
    """Every note outside the stated scale, in order."""
    accounts: tuple[Account, ...]
    """The smallest account of them: each note outside the scale in one, and no others."""


def read_scales(melody: Melody, *, against: str | Scale | None = None) -> tuple[ScaleReading, ...]:
    """A reading for each key of the melody.

    >>> from fretpath.music.notation import parse_melody
    >>> reading = read_scales(parse_melody("1 2 3 #4 5 6 7 8", key="F"))[0]
    >>> reading.smallest.name, reading.departures[0].name, reading.accounts[0].title
    ('lydian', 'raised fourth', 'lydian')

    *against* measures every note against that scale, or the scale of that name, instead of the
    stated one.  Raises :class:`RequestError` when the melody has no key or the name is unknown.
    """
    found = passages(melody, Scale.parse(against) if isinstance(against, str) else against)
    return tuple(_reading(passage, found[0].key) for passage in found)


def _reading(passage: Passage, first: Key) -> ScaleReading:
    accounts = accounts_of(passage)
    modes, share = _best_modes(passage)
    return ScaleReading(
        key=passage.key,
        stated=passage.scale,
        place=passage.stretch(passage.notes),
        smallest=_smallest_scale(passage),
        modes=modes,
        share=share,
        undecided=_open_degrees(passage, modes),
        color=_color(passage, first),
        departures=_departures(passage, accounts),
        accounts=accounts,
    )


def _departures(passage: Passage, accounts: tuple[Account, ...]) -> tuple[Departure, ...]:
    kinds = {note: account.kind for account in accounts for note in account.notes}
    return tuple(
        Departure(
            note=note.index,
            bar=note.bar,
            place=passage.place(note),
            degree=note.degree,
            name=departure_name(note.name, passage.scale),
            kind=kinds[note.index],
        )
        for note in passage.notes
        if note.degree and note.index in kinds
    )


def _smallest_scale(passage: Passage) -> Scale | None:
    """The smallest scale holding the degrees of a passage as spelled; None if no scale does.

    Scales with a perfect fifth, and with no other third than the tune's, come first; of equal
    ones the nearest to the stated scale.
    """
    held = [scale for scale in SCALES.values() if passage.names.issubset(scale.names)]
    thirds = passage.names & {"3", "b3"}

    def order(scale: Scale) -> tuple[bool, bool, int, int]:
        foreign = len(set(scale.names) - set(passage.scale.names))
        other_third = bool(thirds) and not {"3", "b3"} & set(scale.names) <= thirds
        return "5" not in scale.names, other_third, len(scale.names), foreign

    return min(held, key=order, default=None)


def _best_modes(passage: Passage) -> tuple[tuple[Scale, ...], Fraction]:
    """The modes that hold most of the sounding time, and the part of it that they hold.

    Of equal ones the nearest to the stated scale comes first, then the commoner one.
    """
    total = sum((note.beats for note in passage.notes), Fraction(0))
    most = max(map(passage.held, COMMON_FIRST))
    best = [mode for mode in COMMON_FIRST if passage.held(mode) == most]
    best.sort(key=lambda mode: len(set(mode.names) ^ set(passage.scale.base.names)))
    return tuple(best), most / total


def _open_degrees(passage: Passage, modes: tuple[Scale, ...]) -> tuple[str, ...]:
    shared = set.intersection(*(set(mode.names) for mode in modes))
    loose = {name for mode in modes for name in mode.names if name not in shared}
    silent = [name for name in loose if not passage.sounds(name)]
    return tuple(sorted(silent, key=lambda name: (named_degree(name).number, name)))


def _color(passage: Passage, first: Key) -> str:
    """Degrees a mode has that plain major or minor (or the tune's first key) has not, and where."""
    base = passage.scale.base
    plain = SCALES["natural minor" if base.minor else "major"]
    if passage.key.tonic == first.tonic and passage.key != first:
        plain = first.scale.base
    own = difference(base, plain)
    if not own.has:
        return ""
    notes = _on(passage.notes, [*map(str, own.has)])
    return f"{own}: {passage.places(notes) if notes else 'but it never sounds here'}"


# -- accounts ------------------------------------------------------------------------------------


def accounts_of(passage: Passage) -> tuple[Account, ...]:
    """The accounts of every note of a passage that its scale does not hold, rule by rule."""
    left = [note for note in passage.notes if note.name not in passage.scale.names]
    found: list[Account] = []
    for rule in RULES:
        new = list(rule(passage, left)) if left else []
        found += new
        taken = {note for account in new for note in account.notes}
        left = [note for note in left if note.index not in taken]
    return tuple(found)


def scale_with(base: Scale, names: Sequence[str]) -> Scale | None:
    """The known scale that is the base with these degrees in place of its own."""
    own = {str(base.own(named_degree(name).number)) for name in names}
    wanted = (set(base.names) - own) | set(names)
    return next((s for s in SCALES.values() if set(s.names) == wanted), None)


def departure_name(name: str, scale: Scale) -> str:
    """The name of a degree outside a scale: ``flat second``, ``raised fourth``.

    >>> departure_name("#4", SCALES["major"]), departure_name("7", SCALES["natural minor"])
    ('raised fourth', 'raised seventh')
    """
    degree = named_degree(name)
    above = degree.alter - scale.base.own(degree.number).alter
    word = {1: "raised ", -1: "flat ", 2: "doubly raised ", -2: "doubly flat ", 0: "added "}
    return f"{word.get(above, 'altered ')}{_ORDINALS[degree.number]}"


def _account(
    kind: str,
    argument: str,
    title: str,
    notes: Notes,
    evidence: str,
    bars: tuple[int, int] | None = None,
    doubts: tuple[Doubt, ...] = (),
) -> Account:
    numbers = tuple(note.index for note in notes)
    return Account(kind, argument, title, _names(notes), numbers, evidence, bars, doubts)


def _names(notes: Notes) -> tuple[str, ...]:
    """The degrees of notes, each once."""
    return tuple(dict.fromkeys(note.name for note in notes))


def _on(notes: Notes, names: Container[str]) -> list[SpelledNote]:
    """The notes on these degrees."""
    return [note for note in notes if note.name in names]


def _tally(notes: Notes) -> str:
    """``b3 twice, b6 once``, in the order of the scale."""
    counts = Counter(note.name for note in notes)
    order = sorted(counts, key=named_degree)
    return ", ".join(f"{name} {times(counts[name])}" for name in order)


def _where(passage: Passage, notes: Notes) -> str:
    """How often and where: ``#4 twice (bars 2, 6)``."""
    return f"{_tally(notes)} ({passage.places(notes)})"


def _and(names: Iterable[str]) -> str:
    """``2, 6 and 7``."""
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


# -- another scale or key for the whole tune -----------------------------------------------------


def _fuller_scale(passage: Passage, left: Notes) -> Iterator[Account]:
    """Degrees that only a smaller scale leaves out."""
    scale, base = passage.scale, passage.scale.base
    notes = _on(left, base.names)
    if notes:
        title = f"{base.name} rather than {scale.name}"
        missing = " ".join(_names(notes))
        evidence = f"{_where(passage, notes)}; the {scale.name} leaves out {missing}"
        yield _account("added", base.name, title, notes, evidence)


# Keys that are taken for another one: tonic and mode, their own degrees, whether the tune begins on
# the tonic, whether the plain forms of those degrees never sound (a minor key has them beside its
# leading note).
_TAKEN_FOR_MAJOR = (
    ("5", "major", ("#4",), True, True),
    ("4", "major", ("b7",), False, True),
    ("2", "major", ("#1", "#4"), True, True),
    ("b7", "major", ("b3", "b7"), True, True),
    ("6", "minor", ("#5",), False, True),
    ("6", "minor", ("#5",), True, False),
    ("2", "minor", ("#1",), True, False),
)
_TAKEN_FOR_MINOR = (
    ("5", "minor", ("6",), True, True),
    ("4", "minor", ("b2",), False, True),
)


def _wrong_key(passage: Passage, left: Notes) -> Iterator[Account]:
    """The degrees of another key throughout a tune that closes on that key's tonic."""
    begin = next((note for note in passage.notes if note.bar), passage.notes[0])
    keys = _TAKEN_FOR_MINOR if passage.scale.minor else _TAKEN_FOR_MAJOR
    for tonic, mode, own, begins, throughout in keys:
        notes = _on(left, own)
        plain = [passage.plain(name) for name in own]
        closes = passage.notes[-1].name == tonic and (not begins or begin.name == tonic)
        sounding = len(_on(passage.notes, plain))
        few = sounding <= (0 if throughout else len(notes))
        if closes and few and len(notes) > 1 and set(own) == set(_names(notes)):
            starts = f"begins and ends on {tonic}" if begins else f"ends on {tonic}"
            also = "" if sounding else f", {_and(plain)} never"
            evidence = f"{_where(passage, notes)}{also}; the tune {starts}"
            title = f"the tune is in the {mode} key of {tonic}"
            other = None if sounding else scale_with(passage.scale.base, own)
            doubts = (_doubt_of_mode(other, "a close on 1"),) if other else ()
            yield _account("wrong_key", f"{tonic} {mode}", title, notes, evidence, doubts=doubts)
            return


def _whole_mode(passage: Passage, left: Notes) -> Iterator[Account]:
    """Another scale that holds everything, because no plain form sounds."""
    names = _names(left)
    found = scale_with(passage.scale.base, names)
    if found is None or not all(_replaces(passage, name) for name in names):
        return
    if _is_raised_minor(passage, names) or _chromatic(passage, found, left):
        return
    if found.name not in _MINOR_FORMS or "7" in passage.names:
        yield _mode(passage, left, found)


def _other_third(passage: Passage, left: Notes) -> Iterator[Account]:
    """The mode with the other third, when the key's own third never sounds."""
    base = passage.scale.base
    own, other = ("b3", "3") if base.minor else ("3", "b3")
    if own not in base.names or own in passage.names or not _on(left, [other]):
        return
    modes = [mode for mode in COMMON_FIRST if other in mode.names]
    found = max(modes, key=passage.held)
    yield _mode(passage, _on(left, found.names), found)


def _mode(passage: Passage, notes: Notes, found: Scale) -> Account:
    names = _names(notes)
    plain = [passage.plain(name) for name in names]
    exceptions = _on(passage.notes, plain)
    evidence = _where(passage, notes)
    title = found.name
    more = [name for name in names if name not in found.names]
    if more:
        title += f" with {_and(more)}"
    if exceptions:
        forms = _and(f"one plain {name}" for name in _names(exceptions))
        title += f", with {forms} ({passage.places(exceptions)})"
    else:
        evidence += f", {_and(plain)} never"
    doubts = _like(passage, found, names) or _or_role(passage, notes)
    return _account("mode", found.name, title, notes, evidence, doubts=doubts)


def _like(passage: Passage, found: Scale, names: Sequence[str]) -> tuple[Doubt, ...]:
    """The modes that differ from one only in degrees no form of which sounds."""
    if found.name not in MODES:
        return ()
    doubts = []
    for other in COMMON_FIRST:
        apart = sorted(set(other.names) ^ set(found.names), key=named_degree)
        silent = not any(map(passage.sounds, apart))
        if apart and silent and set(names) <= set(other.names):
            doubts.append(_doubt_of_mode(other, " or ".join(sorted(apart, key=len))))
    return tuple(doubts)


def _doubt_of_mode(scale: Scale, what: str) -> Doubt:
    return Doubt("mode", scale.name, scale.name, f"{what} would decide")


def _or_role(passage: Passage, notes: Notes) -> tuple[Doubt, ...]:
    """The one role by half step of all notes of a degree, which may be that and no mode."""
    names, roles = _names(notes), {_half_step_role(passage, note) for note in notes}
    plain = passage.plain(names[0])
    if len(names) > 1 or len(roles) > 1 or plain in passage.names:
        return ()
    [(kind, argument, title)] = roles
    return (Doubt(kind, argument, title, f"a plain {plain} would decide"),) if kind else ()


def _half_step_role(passage: Passage, note: SpelledNote) -> tuple[str, str, str]:
    """Kind, argument and title of a role by half step; empty where a note has none."""
    does = role(passage, note)
    if _is_applied_seventh(passage, note):
        return "applied7", "4", _SEVENTH
    return _account_of_role(does) if does and does.half else ("", "", "")


def _account_of_role(does: Role) -> tuple[str, str, str]:
    """Kind, argument and title of an account for a role."""
    kind = "passing" if does.kind == "scalar" else does.kind
    way = does.way if kind == "neighbor" else ""
    return kind, way, f"{way} {kind}".strip()


def _replaces(passage: Passage, name: str) -> bool:
    """Whether a degree sounds in this form alone, and it is not that of the scale."""
    number = named_degree(name).number
    forms = {n for n in passage.names if named_degree(n).number == number}
    return forms == {name} and name not in passage.scale.base.names


def _chromatic(passage: Passage, found: Scale | None, notes: Notes) -> bool:
    """Whether every one of these notes has a chromatic role, so that none needs a mode."""
    usual = found is not None and found.name in MODES
    return all(_is_chromatic(passage, note, usual=usual) for note in notes)


def _is_chromatic(passage: Passage, note: SpelledNote, *, usual: bool) -> bool:
    """Whether a note's role is a chromatic one; *usual* if the other scale is one of the seven."""
    does = role(passage, note)
    if does is None or does.kind == "scalar":
        return False
    if not usual or does.kind == "passing":
        return True
    beside = passage.plain(note.name) in passage.names
    leans = _is_raised(passage, note.name) and does.way != "upper"
    return does.kind in _LEANING and does.half and (beside or leans)


def _is_raised(passage: Passage, name: str) -> bool:
    """Whether a degree lies above the scale's own of that number (or is that one)."""
    return named_degree(name).alter >= named_degree(passage.plain(name)).alter


# -- sections, minor and blues -------------------------------------------------------------------


def _sections(passage: Passage, left: Notes) -> Iterator[Account]:
    """Sections in the parallel key or in the key of another degree."""
    taken: set[int] = set()
    for area, section in (*parallel_sections(passage), *modulations(passage)):
        inside = {note.index for note in section}
        held = set(area.leaves)
        if area.kind == "parallel":
            held |= set(SCALES["natural minor" if area.key == "minor" else "major"].names)
        notes = [note for note in left if note.index in inside and note.name in held]
        if notes and inside.isdisjoint(taken):
            taken |= inside
            yield _section(passage, area, section, notes)


def _section(passage: Passage, area: KeyArea, section: Notes, notes: Notes) -> Account:
    missing = (area.returns & passage.names) - set(_names(section))
    evidence = _tally(_on(section, area.leaves))
    if missing:
        evidence += f"; no {' '.join(sorted(missing, key=named_degree))} there"
    if area.kind == "modulation":
        evidence += f", and it closes on {area.key}"
    bars = (section[0].bar, section[-1].bar) if passage.barred else None
    title = f"{area.name}, {passage.stretch(section)}"
    return _account(area.kind, area.key, title, notes, evidence, bars)


def _is_raised_minor(passage: Passage, names: Sequence[str]) -> bool:
    """Whether these are only the other forms of 6 and 7 that minor takes up and down."""
    if set(names) == {"7"}:
        return {"b3", "b7"} <= set(passage.scale.base.names)
    if passage.scale.parent != "natural minor" or not set(names) <= {"6", "7", "b6", "b7"}:
        return False
    return "6" not in names or "7" in passage.names


def _raised_minor(passage: Passage, left: Notes) -> Iterator[Account]:
    """The forms of 6 and 7 in minor."""
    notes = [note for note in left if _is_raised_minor(passage, [note.name])]
    if not notes:
        return
    title = "natural minor's own sixth and seventh"
    if _on(notes, ["6"]) and "7" in passage.names:
        title = "melodic minor: raised sixth and seventh"
    elif _on(notes, ["7"]):
        title = "harmonic minor: raised seventh"
    yield _account("raised_minor", "", title, notes, f"{_where(passage, notes)}; normal in minor")


def _picardy(passage: Passage, left: Notes) -> Iterator[Account]:
    """The major third of the closing chord of minor."""
    notes = _on(left, ["3"])
    if not notes or not passage.scale.minor or "b3" not in passage.names:
        return
    close = [note for note in passage.notes if note.index >= notes[0].index]
    if set(_names(close)) <= {"1", "3", "5"} and len(close) < len(passage.notes) / 2:
        evidence = f"{_where(passage, notes)}, in the closing chord; b3 before it"
        yield _account("picardy", "", "major third at the close (Picardy third)", notes, evidence)


def _blue(passage: Passage, left: Notes) -> Iterator[Account]:
    """Blue notes: in a pentatonic frame, or beside a free b7."""
    unexplained = set(_names(left)) | (passage.names & set(passage.scale.names))
    heard = (passage.names - {"b3"}) | unexplained
    names = [name for name in _names(left) if _is_blue(passage, name, heard)]
    notes = _on(left, names)
    if notes:
        beside = sorted({name.strip("#b") for name in names} & passage.names)
        evidence = _where(passage, notes)
        if beside:
            verb = "sounds" if len(beside) == 1 else "sound"
            evidence += f"; {_and(beside)} {verb} too"
        title = f"{plural(len(names), 'blue note')}: {' '.join(names)}"
        yield _account("blue", "", title, notes, evidence)


def _is_blue(passage: Passage, name: str, heard: frozenset[str]) -> bool:
    """Whether a degree is blue; *heard* leaves out a flat third that a section explains."""
    third = {"b3", "3"} <= heard and "b3" not in passage.scale.names and _blue_frame(passage)
    if name == "b5":
        minor_frame = "b3" in heard and not {"2", "6", "b6"} & heard
        return minor_frame or third
    return third and (name == "b3" or (name == "b7" and ("4" not in heard or "7" in heard)))


def _blue_frame(passage: Passage) -> bool:
    """Whether a tune has no 4 and 7, or a b7 that is no seventh falling to 6."""
    if not {"4", "7"} & passage.names:
        return True
    free = [note for note in _on(passage.notes, ["b7"]) if not _falls_to(passage, note, "6")]
    return "b7" not in passage.scale.names and bool(free)


def _falls_to(passage: Passage, note: SpelledNote, goal: str) -> bool:
    after = passage.neighbors(note)[1]
    return after is not None and after.name == goal and is_step(after.pitch - note.pitch)


def _modes(passage: Passage, left: Notes) -> Iterator[Account]:
    """Degrees that replace the plain one throughout, or all but once."""
    base = passage.scale.base
    replaced = [name for name in _names(left) if _replaces(passage, name)]
    if "7" in passage.names and "b7" in base.names:
        replaced = [name for name in replaced if name != "b2"]  # with a leading note, no Phrygian
    free = [
        name
        for name in replaced
        if not _chromatic(passage, scale_with(base, [name]), _on(left, [name]))
    ]
    together = replaced if scale_with(base, replaced) and free else free
    alone = [n for n in _names(left) if n not in replaced and _is_regular(passage, n)]
    for names in filter(None, [together, *([name] for name in alone)]):
        found = scale_with(base, names) or scale_with(base, names[:1])
        if found and found.name not in _MINOR_FORMS:
            yield _mode(passage, _on(left, names), found)


def _is_regular(passage: Passage, name: str) -> bool:
    """Whether a degree is regular although its plain form sounds once."""
    notes, plain = _on(passage.notes, [name]), _on(passage.notes, [passage.plain(name)])
    found = scale_with(passage.scale.base, [name])
    enough = len(notes) >= _FEWEST_REGULAR and len(plain) == 1 and name not in ("3", "b3")
    if not enough or not found or found.name not in MODES:
        return False
    moving = [note for note in notes if not _is_chromatic(passage, note, usual=True)]
    return 2 * len(moving) >= len(notes)


# -- single notes --------------------------------------------------------------------------------


def _anticipations(passage: Passage, left: Notes) -> Iterator[Account]:
    """Short notes struck again over the bar line."""
    yield from _roles(passage, [n for n in left if _does(passage, n) == "anticipation"])


def _does(passage: Passage, note: SpelledNote) -> str:
    """The kind of a note's role, or the empty string."""
    found = role(passage, note)
    return found.kind if found else ""


def _borrowing_together(passage: Passage, left: Notes) -> Iterator[Account]:
    """Two or more different notes of the parallel key side by side."""
    foreign = {note.index for note in left if _is_parallel(passage, note.name)}
    runs = [
        list(run)
        for inside, run in groupby(passage.notes, key=lambda note: note.index in foreign)
        if inside
    ]
    notes = [note for run in runs if len(_names(run)) > 1 for note in run]
    if notes:
        yield _borrowing(passage, notes, f"{_where(passage, notes)}, side by side")


def _is_parallel(passage: Passage, name: str) -> bool:
    """Whether a degree is one that the parallel key has and the key has not."""
    return name in (("3", "6", "7") if passage.scale.minor else ("b3", "b6", "b7"))


def _borrowing(passage: Passage, notes: Notes, evidence: str) -> Account:
    other = "major" if passage.scale.minor else "minor"
    return _account("borrowed", other, f"borrowed from the parallel {other}", notes, evidence)


def _neapolitan(passage: Passage, left: Notes) -> Iterator[Account]:
    """The flat second of its own chord, before 7, or on its way to 1."""
    notes = [note for note in _on(left, ["b2"]) if _is_neapolitan(passage, note)]
    if notes:
        yield _account("neapolitan", "", "Neapolitan flat second", notes, _where(passage, notes))


def _is_neapolitan(passage: Passage, note: SpelledNote) -> bool:
    before, after = passage.neighbors(note)
    if _does(passage, note) in ("neighbor", "passing"):
        return False
    chord = before is not None and before.name in ("4", "b6")
    if after is None or after.name in ("4", "b6"):
        return after is not None
    return (after.name == "7" and (chord or passage.scale.minor)) or (after.name == "1" and chord)


def _degree_above(name: str, interval: Interval) -> str:
    """The simple degree an interval above another one."""
    return Degree.of_interval(named_degree(name).interval + interval).plain


def _goal(passage: Passage, name: str) -> str:
    """The degree of the scale a half step above a raised one; empty if there is none."""
    above = _degree_above(name, Interval.parse("m2"))
    return above if _is_raised(passage, name) and above in passage.scale.base.names else ""


def _leading(passage: Passage, left: Notes) -> Iterator[Account]:
    """Leading notes in their broken dominant, which goes to the goal."""
    for name in _names(left):
        goal = _goal(passage, name)
        chord = _broken_dominants(passage, goal) if goal else set()
        notes = [note for note in _on(left, [name]) if note.index in chord]
        if notes:
            evidence = f"{_where(passage, notes)}, in the dominant of {goal}"
            yield _leading_to(goal, notes, evidence)


def _leading_to(goal: str, notes: Notes, evidence: str) -> Account:
    return _account("leading", goal, f"leading note of {goal}", notes, evidence)


def _broken_dominants(passage: Passage, goal: str) -> set[int]:
    """Notes of broken dominants that go to their goal at once: three degrees at least, from the
    root or the leading note on, whichever comes first (``1 6 #4 5`` only surrounds 5).
    """
    root, leading, *others = (_degree_above(goal, Interval.parse(w)) for w in _DOMINANT)
    found = set[int]()
    for inside, run in groupby(passage.notes, lambda note: note.name in (root, leading, *others)):
        notes = [*dropwhile(lambda note: note.name not in (root, leading), run)] if inside else []
        after = passage.after(notes[-1]) if notes else ()
        if after and after[0].name == goal and len(_names(notes)) > 2:
            found |= {note.index for note in notes}
    return found


_DOMINANT = ("P5", "M7", "M9", "P11")
"""Root, third (the leading note), fifth and seventh of a degree's dominant seventh chord."""


def _applied_seventh(passage: Passage, left: Notes) -> Iterator[Account]:
    """b7 falling to 6 from the chord 1 3 5: the seventh of the dominant of 4."""
    notes = [note for note in left if _is_applied_seventh(passage, note)]
    if notes and "7" in passage.scale.base.names:
        yield _account("applied7", "4", _SEVENTH, notes, f"{_where(passage, notes)}, falling to 6")


def _is_applied_seventh(passage: Passage, note: SpelledNote) -> bool:
    before = passage.neighbors(note)[0]
    from_chord = before is not None and before.name in ("1", "3", "5")
    return note.name == "b7" and from_chord and _falls_to(passage, note, "6")


def _roles(passage: Passage, left: Notes) -> Iterator[Account]:
    """Each note's own role, grouped by degree and role."""
    groups: dict[tuple[str, str, str, str], list[tuple[SpelledNote, str]]] = {}
    for note in left:
        does = role(passage, note)
        if does and (does.kind != "scalar" or _half_step_near(passage, note)):
            group = (note.name, *_account_of_role(does))
            groups.setdefault(group, []).append((note, does.goal))
    for (name, kind, argument, title), found in groups.items():
        notes = [note for note, _ in found]
        way = {"escape": "", "anticipation": "", "neighbor": ", of "}.get(kind, ", going to ")
        goal = _and(sorted({goal for _, goal in found})) if way else ""
        evidence = f"{_where(passage, notes)}{way}{goal}{_beside(passage, name)}"
        doubts = _or_mode(passage, name, notes)
        yield _account(kind, argument, title, notes, evidence, doubts=doubts)


def _beside(passage: Passage, name: str) -> str:
    """``; 4 four times``: how often the plain form sounds."""
    plain = passage.plain(name)
    return f"; {plain} {times(len(_on(passage.notes, [plain])))}"


def _half_step_near(passage: Passage, note: SpelledNote) -> bool:
    """Whether a half step leads to a note or from it."""
    ways = [other.pitch - note.pitch for other in passage.neighbors(note) if other]
    return any(abs(way.semitones) == 1 for way in ways)


def _or_mode(passage: Passage, name: str, notes: Notes) -> tuple[Doubt, ...]:
    """The mode that a chromatic note would make, where its plain form never sounds."""
    found = scale_with(passage.scale.base, [name])
    if (
        found is None
        or not _replaces(passage, name)
        or len(_on(passage.notes, [name])) > len(notes)
    ):
        return ()
    return (_doubt_of_mode(found, f"a plain {passage.plain(name)}"),)


def _rest(passage: Passage, left: Notes) -> Iterator[Account]:
    """Notes without a role: leading if the goal comes soon, borrowed, or free."""
    for name in _names(left):
        notes, goal = _on(left, [name]), _goal(passage, name)
        soon = [n for n in notes if goal in [after.name for after in passage.after(n, _SOON)]]
        if soon:
            yield _leading_to(goal, soon, f"{_where(passage, soon)}, {goal} soon after")
        rest = [note for note in notes if note not in soon]
        if rest and _is_parallel(passage, name):
            yield _borrowing(passage, rest, _where(passage, rest))
        elif rest:
            title = f"free {departure_name(name, passage.scale)}"
            evidence = _where(passage, rest) + _beside(passage, name)
            yield _account("free", "", title, rest, evidence)


Rule = Callable[[Passage, Notes], Iterator[Account]]

RULES: tuple[Rule, ...] = (
    _fuller_scale,
    _wrong_key,
    _whole_mode,
    _other_third,
    _sections,
    _raised_minor,
    _picardy,
    _blue,
    _modes,
    _anticipations,
    _borrowing_together,
    _neapolitan,
    _leading,
    _applied_seventh,
    _roles,
    _rest,
)
"""The rules in their order: (passage, scale, notes not yet explained) -> accounts."""
