"""The smallest account of each note outside a scale.

**Rules.**  Each rule takes a passage, the scale it is measured against and the notes outside it
that no rule before has explained, and accounts for some of them.  In this order (:data:`RULES`,
common practice throughout):

1. *added*: a smaller scale (pentatonic, blues) only leaves the degree out.
2. *wrong key*: the tune is in the key a fifth up or down, or in the relative or second degree's
   minor: its own degree sounds throughout, and the tune closes on its tonic.
3. *mode*: another scale holds the whole tune, or the other third sounds throughout.
4. *parallel*, *modulation*: a section in another key (:mod:`fretpath.music.sections`).
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
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import dropwhile, groupby

from fretpath.music.key import MODES, SCALES, Degree, Scale
from fretpath.music.roles import (
    Passage,
    Role,
    base_scale,
    is_step,
    named_degree,
    plain_degree,
    raised,
    role,
)
from fretpath.music.sections import KeyArea, modulations, parallel_sections
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
_PARALLEL = {"major": ("b3", "b6", "b7"), "minor": ("3", "6", "7")}
_SEVENTH = "seventh of the dominant of 4"
_LEANING = ("neighbor", "enclosure", "appoggiatura")
_FEWEST_REGULAR = 3
"""Notes of a degree from which on one plain form is an exception; chosen by trial."""
_SOON = 3
"""Notes within which a leading note finds its goal; chosen by trial."""

# When several modes hold a tune equally well, the commoner one comes first (common practice).
COMMON_FIRST = (
    "major",
    "natural minor",
    "mixolydian",
    "dorian",
    "lydian",
    "phrygian",
    "locrian",
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
    """What a teacher calls it."""
    decides: str
    """What would decide, such as ``a plain 4 would decide``."""


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
    """What a teacher calls it, such as ``lydian`` or ``lower neighbor``."""
    degrees: tuple[str, ...]
    """The degrees it accounts for."""
    notes: tuple[int, ...]
    """Indices of its notes among the struck notes."""
    evidence: str
    """What in the tune says so, in one line."""
    bars: tuple[int, int] | None = None
    """First and last bar of a section; None for single notes."""
    doubts: tuple[Doubt, ...] = ()
    """Other accounts that the tune leaves open; mostly none."""

    @property
    def normal(self) -> bool:
        """True for what belongs to the key all the same: the raised 6 and 7 of minor."""
        return self.kind == "raised_minor"


def scale_with(base: Scale, names: Sequence[str]) -> Scale | None:
    """The known scale that is the base with these degrees in place of its own."""
    numbers = {named_degree(name).number for name in names}
    kept = {d for d in base.names if named_degree(d).number not in numbers}
    wanted = kept | set(names)
    return next((s for s in SCALES.values() if set(s.names) == wanted), None)


def departure_name(name: str, scale: Scale) -> str:
    """The name of a degree outside a scale: ``flat second``, ``raised fourth``.

    >>> departure_name("#4", SCALES["major"]), departure_name("7", SCALES["natural minor"])
    ('raised fourth', 'raised seventh')
    """
    degree = named_degree(name)
    above = degree.alter - named_degree(plain_degree(base_scale(scale), name)).alter
    word = {1: "raised ", -1: "flat ", 2: "doubly raised ", -2: "doubly flat ", 0: "added "}
    return f"{word.get(above, 'altered ')}{_ORDINALS[degree.number]}"


Notes = Sequence[SpelledNote]
Rule = Callable[[Passage, Scale, Notes], Iterator[Account]]


def accounts_of(passage: Passage, scale: Scale) -> tuple[Account, ...]:
    """The accounts of every note of a passage that a scale does not hold, rule by rule."""
    left = [note for note in passage.notes if note.name not in scale.names]
    found: list[Account] = []
    for rule in RULES:
        new = list(rule(passage, scale, left)) if left else []
        found += new
        taken = {note for account in new for note in account.notes}
        left = [note for note in left if note.index not in taken]
    return tuple(found)


def _account(
    kind: str,
    argument: str,
    title: str,
    notes: Notes,
    evidence: str,
    bars: tuple[int, int] | None = None,
    doubts: tuple[Doubt, ...] = (),
) -> Account:
    degrees = tuple(dict.fromkeys(note.name for note in notes))
    numbers = tuple(note.index for note in notes)
    return Account(kind, argument, title, degrees, numbers, evidence, bars, doubts)


def tally(notes: Notes) -> str:
    """``b3 twice, b6 once``, in the order of the scale."""
    counts = Counter(note.name for note in notes)
    order = sorted(counts, key=named_degree)
    return ", ".join(f"{name} {times(counts[name])}" for name in order)


def _seen(passage: Passage, notes: Notes) -> str:
    """How often and where: ``#4 twice (bars 2, 6)``."""
    return f"{tally(notes)} ({passage.places(notes)})"


def _listed(names: Iterable[str]) -> str:
    """``2, 6 and 7``."""
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def _names(notes: Notes) -> list[str]:
    return list(dict.fromkeys(note.name for note in notes))


def _named(notes: Notes, names: Sequence[str]) -> list[SpelledNote]:
    return [note for note in notes if note.name in names]


def _added(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """Degrees that only a smaller scale leaves out."""
    base = base_scale(scale)
    notes = _named(left, base.names)
    if notes:
        title = f"{base.name} rather than {scale.name}"
        missing = " ".join(_names(notes))
        evidence = f"{_seen(passage, notes)}; the {scale.name} leaves out {missing}"
        yield _account("added", base.name, title, notes, evidence)


# Tonic and mode of the other key, its own degrees, whether the tune begins on its tonic, whether
# the plain forms of those degrees never sound (a minor key has them beside its leading note).
_OTHER_KEYS = {
    "major": (
        ("5", "major", ("#4",), True, True),
        ("4", "major", ("b7",), False, True),
        ("2", "major", ("#1", "#4"), True, True),
        ("b7", "major", ("b3", "b7"), True, True),
        ("6", "minor", ("#5",), False, True),
        ("6", "minor", ("#5",), True, False),
        ("2", "minor", ("#1",), True, False),
    ),
    "minor": (
        ("5", "minor", ("6",), True, True),
        ("4", "minor", ("b2",), False, True),
    ),
}


def _wrong_key(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """The degrees of another key throughout a tune that closes on that key's tonic."""
    base = base_scale(scale)
    for tonic, mode, own, begins, throughout in _OTHER_KEYS[_third(base)]:
        notes = _named(left, own)
        plain = [plain_degree(base, name) for name in own]
        closes = passage.notes[-1].name == tonic and (not begins or _first(passage).name == tonic)
        silent = len(passage.named(*plain))
        never, fewer = silent == 0, silent <= len(notes)
        if (
            closes
            and len(notes) > 1
            and set(own) == set(_names(notes))
            and (never or (fewer and not throughout))
        ):
            starts = f"begins and ends on {tonic}" if begins else f"ends on {tonic}"
            also = f", {_listed(plain)} never" if never else ""
            evidence = f"{_seen(passage, notes)}{also}; the tune {starts}"
            title = f"the tune is in the {mode} key of {tonic}"
            other = scale_with(base, own) if never else None
            doubts = (_doubt_of_mode(other, "a close on 1"),) if other else ()
            yield _account("wrong_key", f"{tonic} {mode}", title, notes, evidence, doubts=doubts)
            return


def _first(passage: Passage) -> SpelledNote:
    """The first note after a pickup."""
    return next((note for note in passage.notes if note.bar), passage.notes[0])


def _third(scale: Scale) -> str:
    return "minor" if "b3" in scale.names else "major"


def _whole_mode(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """Another scale that holds everything, because no plain form sounds."""
    base, names = base_scale(scale), _names(left)
    found = scale_with(base, names)
    if found is None or not all(_replaces(passage, base, name) for name in names):
        return
    if _is_raised_minor(passage, scale, names) or _chromatic(passage, base, found, left):
        return
    if found.name in ("harmonic minor", "melodic minor") and "7" not in passage.names:
        return
    yield _mode(passage, base, left, found)


def _other_third(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """The mode with the other third, when the key's own third never sounds."""
    base = base_scale(scale)
    own, other = ("3", "b3") if _third(base) == "major" else ("b3", "3")
    if own not in base.names or own in passage.names or not _named(left, [other]):
        return
    modes = [SCALES[name] for name in COMMON_FIRST if other in SCALES[name].names]
    found = max(modes, key=lambda mode: passage.held(mode))
    yield _mode(passage, base, _named(left, found.names), found)


def _mode(passage: Passage, base: Scale, notes: Notes, found: Scale) -> Account:
    exceptions = passage.named(*(plain_degree(base, name) for name in _names(notes)))
    evidence = _seen(passage, notes)
    title = found.name
    more = [name for name in _names(notes) if name not in found.names]
    if more:
        title += f" with {_listed(more)}"
    if exceptions:
        forms = _listed(f"one plain {name}" for name in _names(exceptions))
        title += f", with {forms} ({passage.places(exceptions)})"
    else:
        evidence += f", {_listed(plain_degree(base, name) for name in _names(notes))} never"
    doubts = _like(passage, found, notes) or _or_role(passage, base, notes)
    return _account("mode", found.name, title, notes, evidence, doubts=doubts)


def _like(passage: Passage, found: Scale, notes: Notes) -> tuple[Doubt, ...]:
    """The modes that differ from one only in degrees no form of which sounds."""
    if found.name not in MODES:
        return ()
    sounding = {named_degree(name).number for name in passage.names}
    doubts = []
    for other in (SCALES[name] for name in COMMON_FIRST):
        apart = sorted(set(other.names) ^ set(found.names), key=named_degree)
        silent = not {named_degree(name).number for name in apart} & sounding
        if apart and silent and set(_names(notes)) <= set(other.names):
            doubts.append(_doubt_of_mode(other, " or ".join(sorted(apart, key=len))))
    return tuple(doubts)


def _doubt_of_mode(scale: Scale, what: str) -> Doubt:
    return Doubt("mode", scale.name, scale.name, f"{what} would decide")


def _or_role(passage: Passage, base: Scale, notes: Notes) -> tuple[Doubt, ...]:
    """The one role by half step of all notes of a degree, which may be that and no mode."""
    names, roles = _names(notes), {_half_step_role(passage, note) for note in notes}
    if len(names) > 1 or len(roles) > 1 or plain_degree(base, names[0]) in passage.names:
        return ()
    [(kind, argument, title)] = roles
    decides = f"a plain {plain_degree(base, names[0])} would decide"
    return (Doubt(kind, argument, title, decides),) if kind else ()


def _half_step_role(passage: Passage, note: SpelledNote) -> tuple[str, str, str]:
    """Kind, argument and title of a role by half step; empty where a note has none."""
    does = role(passage, note)
    if _is_applied_seventh(passage, note):
        return "applied7", "4", _SEVENTH
    if does is None or not does.half:
        return "", "", ""
    return _named_role(does)


def _named_role(does: Role) -> tuple[str, str, str]:
    """Kind, argument and title of an account for a role."""
    kind = "passing" if does.kind == "scalar" else does.kind
    way = does.way if kind == "neighbor" else ""
    return kind, way, f"{way} {kind}".strip()


def _replaces(passage: Passage, base: Scale, name: str) -> bool:
    number = named_degree(name).number
    forms = {n for n in passage.names if named_degree(n).number == number}
    return forms == {name} and name not in base.names


def _chromatic(passage: Passage, base: Scale, found: Scale | None, notes: Notes) -> bool:
    """Whether every one of these notes has a chromatic role, so that none needs a mode."""
    usual = found is not None and found.name in MODES
    return all(_is_chromatic(passage, base, note, usual=usual) for note in notes)


def _is_chromatic(passage: Passage, base: Scale, note: SpelledNote, *, usual: bool) -> bool:
    """Whether a note's role is a chromatic one; *usual* if the other scale is one of the seven."""
    does = role(passage, note)
    if does is None or does.kind == "scalar":
        return False
    if not usual or does.kind == "passing":
        return True
    beside = plain_degree(base, note.name) in passage.names
    leans = raised(base, note.name) and does.way != "upper"
    return does.kind in _LEANING and does.half and (beside or leans)


def _sections(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """Sections in the parallel key or in the key of another degree."""
    taken: set[int] = set()
    for area, section in (*parallel_sections(passage, scale), *modulations(passage, scale)):
        inside = {note.index for note in section}
        held = set(area.leaves)
        if area.kind == "parallel":
            held |= set(SCALES["natural minor" if area.key == "minor" else "major"].names)
        notes = [note for note in left if note.index in inside and note.name in held]
        if notes and inside.isdisjoint(taken):
            taken |= inside
            yield _section(passage, area, section, notes)


def _section(passage: Passage, area: KeyArea, section: Notes, notes: Notes) -> Account:
    sounding = set(_names(section))
    missing = [name for name in area.returns & passage.names if name not in sounding]
    evidence = tally(_named(section, sorted(area.leaves)))
    if missing:
        evidence += f"; no {' '.join(sorted(missing, key=named_degree))} there"
    if area.kind == "modulation":
        evidence += f", and it closes on {area.key}"
    bars = (section[0].bar, section[-1].bar) if passage.barred else None
    title = f"{area.name}, {passage.stretch(section)}"
    return _account(area.kind, area.key, title, notes, evidence, bars)


def _is_raised_minor(passage: Passage, scale: Scale, names: Sequence[str]) -> bool:
    """Whether these are only the other forms of 6 and 7 that minor takes up and down."""
    if set(names) == {"7"}:
        return {"b3", "b7"} <= set(base_scale(scale).names)
    if scale.parent != "natural minor" or not names or not set(names) <= {"6", "7", "b6", "b7"}:
        return False
    return "6" not in names or "7" in passage.names


def _raised_minor(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """The forms of 6 and 7 in minor."""
    notes = [note for note in left if _is_raised_minor(passage, scale, [note.name])]
    if not notes:
        return
    title = "natural minor's own sixth and seventh"
    if _named(notes, ["6"]) and "7" in passage.names:
        title = "melodic minor: raised sixth and seventh"
    elif _named(notes, ["7"]):
        title = "harmonic minor: raised seventh"
    yield _account("raised_minor", "", title, notes, f"{_seen(passage, notes)}; normal in minor")


def _picardy(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """The major third of the closing chord of minor."""
    notes = _named(left, ["3"])
    if not notes or _third(scale) == "major" or "b3" not in passage.names:
        return
    close = [note for note in passage.notes if note.index >= notes[0].index]
    if set(_names(close)) <= {"1", "3", "5"} and len(close) < len(passage.notes) / 2:
        evidence = f"{_seen(passage, notes)}, in the closing chord; b3 before it"
        yield _account("picardy", "", "major third at the close (Picardy third)", notes, evidence)


def _blue(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """Blue notes: in a pentatonic frame, or beside a free b7."""
    heard = (passage.names - {"b3"}) | set(_names(left)) | (passage.names & set(scale.names))
    names = [name for name in _names(left) if _is_blue(passage, scale, name, heard)]
    notes = _named(left, names)
    if notes:
        beside = sorted({plain_degree(SCALES["major"], n) for n in names} & passage.names)
        evidence = _seen(passage, notes)
        if beside:
            verb = "sounds" if len(beside) == 1 else "sound"
            evidence += f"; {_listed(beside)} {verb} too"
        title = f"{plural(len(names), 'blue note')}: {' '.join(names)}"
        yield _account("blue", "", title, notes, evidence)


def _is_blue(passage: Passage, scale: Scale, name: str, heard: frozenset[str]) -> bool:
    """Whether a degree is blue; *heard* leaves out a flat third that a section explains."""
    third = {"b3", "3"} <= heard and "b3" not in scale.names and _blue_frame(passage, scale)
    if name == "b5":
        minor_frame = "b3" in heard and not {"2", "6", "b6"} & heard
        return minor_frame or third
    return third and (name == "b3" or (name == "b7" and ("4" not in heard or "7" in heard)))


def _blue_frame(passage: Passage, scale: Scale) -> bool:
    """Whether a tune has no 4 and 7, or a b7 that is no seventh falling to 6."""
    free = [note for note in passage.named("b7") if not _falls_to(passage, note, "6")]
    return not {"4", "7"} & passage.names or ("b7" not in scale.names and bool(free))


def _falls_to(passage: Passage, note: SpelledNote, goal: str) -> bool:
    after = passage.neighbors(note)[1]
    return after is not None and after.name == goal and is_step(after.pitch - note.pitch)


def _modes(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """Degrees that replace the plain one throughout, or all but once."""
    base = base_scale(scale)
    replaced = [n for n in _names(left) if _replaces(passage, base, n)]
    if "7" in passage.names and "b7" in base.names:
        replaced = [name for name in replaced if name != "b2"]  # with a leading note, no Phrygian
    whole = scale_with(base, replaced)
    free = [
        n
        for n in replaced
        if not _chromatic(passage, base, scale_with(base, [n]), _named(left, [n]))
    ]
    named = [replaced if whole and free else free]
    named += [[n] for n in _names(left) if n not in replaced and _is_regular(passage, base, n)]
    for names in filter(None, named):
        found = scale_with(base, names) or scale_with(base, names[:1])
        if found and found.name not in ("harmonic minor", "melodic minor"):
            yield _mode(passage, base, _named(left, names), found)


def _is_regular(passage: Passage, base: Scale, name: str) -> bool:
    """Whether a degree is regular although its plain form sounds once."""
    notes, plain = passage.named(name), passage.named(plain_degree(base, name))
    found = scale_with(base, [name])
    enough = len(notes) >= _FEWEST_REGULAR and len(plain) == 1 and name not in ("3", "b3")
    if not enough or not found or found.name not in MODES:
        return False
    moving = [n for n in notes if not _is_chromatic(passage, base, n, usual=True)]
    return 2 * len(moving) >= len(notes)


def _borrowed_together(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """Two or more different notes of the parallel key side by side."""
    foreign = [note for note in left if note.name in _PARALLEL[_third(scale)]]
    runs: list[list[SpelledNote]] = []
    for note in foreign:
        if runs and runs[-1][-1].index == note.index - 1:
            runs[-1].append(note)
        else:
            runs.append([note])
    notes = [note for run in runs if len(_names(run)) > 1 for note in run]
    if notes:
        yield _borrowed(passage, scale, notes, f"{_seen(passage, notes)}, side by side")


def _borrowed(passage: Passage, scale: Scale, notes: Notes, evidence: str) -> Account:
    other = "minor" if _third(scale) == "major" else "major"
    return _account("borrowed", other, f"borrowed from the parallel {other}", notes, evidence)


def _anticipations(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """Short notes struck again over the bar line."""
    yield from _roles(passage, scale, [n for n in left if _does(passage, n) == "anticipation"])


def _does(passage: Passage, note: SpelledNote) -> str:
    found = role(passage, note)
    return found.kind if found else ""


def _neapolitan(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """The flat second of its own chord, before 7, or on its way to 1."""
    minor = _third(base_scale(scale)) == "minor"
    notes = [note for note in _named(left, ["b2"]) if _is_neapolitan(passage, note, minor=minor)]
    if notes:
        yield _account("neapolitan", "", "Neapolitan flat second", notes, _seen(passage, notes))


def _is_neapolitan(passage: Passage, note: SpelledNote, *, minor: bool) -> bool:
    before, after = passage.neighbors(note)
    if _does(passage, note) in ("neighbor", "passing"):
        return False
    chord = before is not None and before.name in ("4", "b6")
    if after is None or after.name in ("4", "b6"):
        return after is not None
    return (after.name == "7" and (chord or minor)) or (after.name == "1" and chord)


def _dominant(goal: str) -> tuple[str, ...]:
    """Root, third (the leading note), fifth and seventh of a degree's dominant seventh chord."""
    root = named_degree(goal).interval + Degree.parse("5").interval
    parts = (root + Degree.parse(part).interval for part in ("1", "3", "5", "b7"))
    return tuple(_degree_of(part.steps, part.semitones) for part in parts)


def _degree_of(steps: int, semitones: int) -> str:
    return Degree(steps, semitones - Degree(steps, 0).interval.semitones).plain


def _goal(base: Scale, name: str) -> str:
    """The degree of the scale a half step above; empty if there is none."""
    up = named_degree(name).interval
    return next((d for d in base.names if _half_above(up.steps, up.semitones, named_degree(d))), "")


def _half_above(steps: int, semitones: int, degree: Degree) -> bool:
    way = degree.interval
    return (way.steps - steps) % 7 == 1 and (way.semitones - semitones) % 12 == 1


def _leading(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """Leading notes in their broken dominant, which goes to the goal."""
    base = base_scale(scale)
    for name in _names(left):
        goal = _goal(base, name) if raised(base, name) else ""
        chord = _broken_dominants(passage, goal) if goal else set()
        notes = [note for note in _named(left, [name]) if note.index in chord]
        if notes:
            evidence = f"{_seen(passage, notes)}, in the dominant of {goal}"
            yield _leading_to(goal, notes, evidence)


def _leading_to(goal: str, notes: Notes, evidence: str) -> Account:
    return _account("leading", goal, f"leading note of {goal}", notes, evidence)


def _broken_dominants(passage: Passage, goal: str) -> set[int]:
    """Notes of broken dominants that go to their goal at once: three degrees at least, from the
    root or the leading note on, whichever comes first (``1 6 #4 5`` only surrounds 5).
    """
    chord, found = _dominant(goal), set[int]()
    root, leading = chord[:2]
    for inside, run in groupby(passage.notes, key=lambda note: note.name in chord):
        notes = (
            list(dropwhile(lambda note: note.name not in (root, leading), run)) if inside else []
        )
        after = passage.after(notes[-1]) if notes else ()
        if after and after[0].name == goal and len(_names(notes)) > 2:
            found |= {note.index for note in notes}
    return found


def _applied_seventh(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """b7 falling to 6 from the chord 1 3 5: the seventh of the dominant of 4."""
    notes = [note for note in left if _is_applied_seventh(passage, note)]
    if notes and "7" in base_scale(scale).names:
        evidence = f"{_seen(passage, notes)}, falling to 6"
        yield _account("applied7", "4", _SEVENTH, notes, evidence)


def _is_applied_seventh(passage: Passage, note: SpelledNote) -> bool:
    before = passage.neighbors(note)[0]
    from_chord = before is not None and before.name in ("1", "3", "5")
    return note.name == "b7" and from_chord and _falls_to(passage, note, "6")


def _roles(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """Each note's own role, grouped by degree and role."""
    groups: dict[tuple[str, str, str, str], list[SpelledNote]] = {}
    goals: dict[tuple[str, str, str, str], set[str]] = {}
    for note in left:
        does = role(passage, note)
        if does and (does.kind != "scalar" or _half_step_near(passage, note)):
            group = (note.name, *_named_role(does))
            groups.setdefault(group, []).append(note)
            goals.setdefault(group, set()).add(does.goal)
    for (name, kind, argument, title), notes in groups.items():
        way = {"escape": "", "anticipation": "", "neighbor": ", of "}.get(kind, ", going to ")
        goal = _listed(sorted(goals[name, kind, argument, title])) if way else ""
        evidence = f"{_seen(passage, notes)}{way}{goal}{_beside(passage, scale, name)}"
        doubts = _or_mode(passage, base_scale(scale), name, notes)
        yield _account(kind, argument, title, notes, evidence, doubts=doubts)


def _beside(passage: Passage, scale: Scale, name: str) -> str:
    """``; 4 four times``: how often the plain form sounds."""
    plain = plain_degree(base_scale(scale), name)
    return f"; {plain} {times(len(passage.named(plain)))}"


def _half_step_near(passage: Passage, note: SpelledNote) -> bool:
    """Whether a half step leads to a note or from it."""
    ways = [other.pitch - note.pitch for other in passage.neighbors(note) if other]
    return any(abs(way.semitones) == 1 for way in ways)


def _or_mode(passage: Passage, base: Scale, name: str, notes: Notes) -> tuple[Doubt, ...]:
    """The mode that a chromatic note would make, where its plain form never sounds."""
    found = scale_with(base, [name])
    if found is None or not _replaces(passage, base, name) or len(passage.named(name)) > len(notes):
        return ()
    return (_doubt_of_mode(found, f"a plain {plain_degree(base, name)}"),)


def _rest(passage: Passage, scale: Scale, left: Notes) -> Iterator[Account]:
    """Notes without a role: leading if the goal comes soon, borrowed, or free."""
    base = base_scale(scale)
    for name in _names(left):
        notes = _named(left, [name])
        goal = _goal(base, name) if raised(base, name) else ""
        soon = [n for n in notes if goal in [after.name for after in passage.after(n, _SOON)]]
        if soon:
            yield _leading_to(goal, soon, f"{_seen(passage, soon)}, {goal} soon after")
        rest = [note for note in notes if note not in soon]
        if rest and name in _PARALLEL[_third(scale)]:
            yield _borrowed(passage, scale, rest, _seen(passage, rest))
        elif rest:
            title = f"free {departure_name(name, base)}"
            yield _account(
                "free", "", title, rest, _seen(passage, rest) + _beside(passage, scale, name)
            )


RULES: tuple[Rule, ...] = (
    _added,
    _wrong_key,
    _whole_mode,
    _other_third,
    _sections,
    _raised_minor,
    _picardy,
    _blue,
    _modes,
    _anticipations,
    _borrowed_together,
    _neapolitan,
    _leading,
    _applied_seventh,
    _roles,
    _rest,
)
"""The rules in their order: (passage, scale, notes not yet explained) -> accounts."""
