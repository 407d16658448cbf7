"""The smallest account of each note outside the scale.

**Order of the questions.**  (1) Does another mode hold the whole tune, because every degree
outside *replaces* the plain one, which never sounds?  #4 without 4 is Lydian, b7 without 7
Mixolydian, b2 without 2 Phrygian.  (2) Does the other third sound throughout, so that the tune is
minor (or major)?  (3) Is a section in the parallel key, or in another key?  (4) In minor, is it
only the raised 6 or 7, which is normal there?  (5) Does a single degree replace its plain one?
(6) Else it stands beside the plain degree, and the notes around it say what it does: passing or
leading to the next degree, a neighbour note, a blue note, a Neapolitan-like flat second, or a
colour without a resolution.

Each account carries its evidence in one line.  Common practice throughout.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fretpath.music.key import SCALES, Degree, Scale
from fretpath.music.passage import Passage, Tone, named_degree, times
from fretpath.music.sections import Away, modulations, parallel_sections

__all__ = ["KINDS", "Account", "accounts_of", "base_scale", "departure_name"]

KINDS = {
    "third": "the other third sounds throughout",
    "section": "a section in the parallel key",
    "modulation": "a section that seems to be in another key",
    "minor": "the raised 6 and 7 of minor, normal there",
    "added": "a degree of the full scale that a smaller scale leaves out",
    "mode": "a degree that replaces the plain one throughout",
    "passing": "a step between two neighbours, or a leading note to the next degree",
    "neighbour": "a half step away from a note and back",
    "blue": "a blue note beside the plain degree",
    "neapolitan": "a flat second that falls to 1 or 7",
    "borrowed": "a degree of the parallel key beside the plain one",
    "final": "the major third that ends a tune in minor",
    "colour": "both forms of the degree, without a resolution",
}
"""Every kind of account and what it means."""

_ORDINALS = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh")
_BLUE = ("b3", "b5", "b7")


@dataclass(frozen=True, slots=True)
class Account:
    """Why some notes are outside the scale."""

    kind: str
    """One of :data:`KINDS`."""
    title: str
    """What a teacher calls it, such as ``Lydian`` or ``passing raised fourth``."""
    degrees: tuple[str, ...]
    """The degrees it accounts for."""
    notes: tuple[int, ...]
    """Indices of its notes among the struck notes."""
    evidence: str
    """What in the tune says so, in one line."""
    bars: tuple[int, int] | None = None
    """First and last bar of a section; None for single notes."""

    @property
    def normal(self) -> bool:
        """True for what belongs to the key all the same: the raised 6 and 7 of minor."""
        return self.kind == "minor"


def base_scale(scale: Scale) -> Scale:
    """The seven degrees a scale is counted from: itself, or the scale of its signature."""
    return scale if len({named_degree(d).number for d in scale.degrees}) == 7 else _parent(scale)


def _parent(scale: Scale) -> Scale:
    return SCALES[scale.parent]


def _plain(base: Scale, degree: Degree) -> str:
    """The base scale's own degree of that number."""
    return next(d for d in base.degrees if named_degree(d).number == degree.number)


def departure_name(degree: Degree, scale: Scale) -> str:
    """What a degree outside a scale is called: ``flat second``, ``raised fourth``.

    >>> departure_name(Degree.parse("#4"), SCALES["major"])
    'raised fourth'
    >>> departure_name(Degree.parse("7"), SCALES["natural minor"])
    'raised seventh'
    """
    above = degree.alter - named_degree(_plain(base_scale(scale), degree)).alter
    word = {1: "raised ", -1: "flat ", 2: "doubly raised ", -2: "doubly flat ", 0: "added "}
    return f"{word.get(above, 'altered ')}{_ORDINALS[degree.number]}"


def accounts_of(passage: Passage, scale: Scale) -> tuple[Account, ...]:
    """The accounts of every note of a passage that a scale does not hold, in a teacher's order."""
    return tuple(_accounts(passage, scale))


def _accounts(passage: Passage, scale: Scale) -> Iterator[Account]:
    names = _names_outside(passage, scale)
    if not names:
        return
    whole = _one_mode(passage, scale, names)
    if whole:
        yield whole
        return
    other = _other_third(passage, scale)
    if other:
        yield other
        scale = _parallel(scale)
    taken: set[int] = set()
    for away, tones in (*parallel_sections(passage, scale), *modulations(passage, scale)):
        notes = {tone.note for tone in tones}
        if notes.isdisjoint(taken):
            taken |= notes
            yield _section(passage, away, tones, scale)
            yield from _inside(passage, away, tones, scale)
    rest = passage.without(taken)
    yield from _single(rest, scale, _names_outside(rest, scale))


def _inside(passage: Passage, away: Away, tones: Sequence[Tone], scale: Scale) -> Iterator[Account]:
    """Accounts of what a section holds beyond its own scale."""
    section = Passage(passage.key, tuple(tones), passage.barred)
    held = _held_there(away, scale)
    if away.tonic == "1":
        scale = _parallel(scale)
    names = [name for name in _names_outside(section, scale) if name not in held]
    yield from _single(section, scale, names)


def _single(passage: Passage, scale: Scale, names: list[str]) -> Iterator[Account]:
    """Accounts degree by degree."""
    base = base_scale(scale)
    for accounts in (_added, _normal, _replacements):
        found, names = accounts(passage, scale, names)
        yield from found
    yield from _beside(passage, base, names)


def _names_outside(passage: Passage, scale: Scale) -> list[str]:
    """The degrees a scale does not hold, in the order in which they first sound."""
    return list(dict.fromkeys(t.name for t in passage.tones if t.name not in scale.degrees))


def _account(
    kind: str,
    title: str,
    tones: Sequence[Tone],
    evidence: str,
    bars: tuple[int, int] | None = None,
) -> Account:
    degrees = tuple(dict.fromkeys(tone.name for tone in tones))
    return Account(kind, title, degrees, tuple(tone.note for tone in tones), evidence, bars)


def _tally(tones: Sequence[Tone]) -> str:
    """``b3 twice, b6 once``, in the order of the scale."""
    counts = Counter(tone.name for tone in tones)
    order = sorted(counts, key=named_degree)
    return ", ".join(f"{name} {times(counts[name])}" for name in order)


def _seen(passage: Passage, tones: Sequence[Tone]) -> str:
    return f"{_tally(tones)} ({passage.places(tones)})"


# -- the whole tune, or a section ----------------------------------------------------------------


def _one_mode(passage: Passage, scale: Scale, names: list[str]) -> Account | None:
    """The account when another scale holds everything and no plain form sounds."""
    base = base_scale(scale)
    if not all(_replaces(passage, base, name) for name in names):
        return None
    found = _scale_with(base, names)
    if found is None or _is_normal(passage, scale, names):
        return None
    if found.name in ("harmonic minor", "melodic minor") and "7" not in passage.names:
        return None
    return _mode_account(passage, base, names, found.name)


def _other_third(passage: Passage, scale: Scale) -> Account | None:
    """The account when the key's own third never sounds and the other one does."""
    minor = "b3" in scale.degrees
    own, other = ("b3", "3") if minor else ("3", "b3")
    if own in passage.names or other not in passage.names or other in scale.degrees:
        return None
    there = _parallel(scale)
    names = [name for name in _names_outside(passage, scale) if name in there.degrees]
    tones = passage.named(*names)
    title = "major, not minor" if minor else "minor, not major"
    return _account("third", title, tones, f"{_seen(passage, tones)}, {own} never")


def _section(passage: Passage, away: Away, tones: Sequence[Tone], scale: Scale) -> Account:
    sounding = {tone.name for tone in tones}
    missing = [name for name in away.returns & passage.names if name not in sounding]
    evidence = _tally([tone for tone in tones if tone.name in away.leaves])
    if missing:
        evidence += f"; no {' '.join(sorted(missing, key=named_degree))} there"
    bars = (tones[0].bar, tones[-1].bar) if passage.barred else None
    where = passage.stretch(tones)
    held = _held_there(away, scale) - set(scale.degrees)
    outside = [tone for tone in tones if tone.name in held]
    if away.tonic == "1":
        return _account("section", f"{away.name}, {where}", outside, evidence, bars)
    evidence += f", and it ends on {away.tonic}"
    title = f"modulation to {away.name} suspected, {where}"
    return _account("modulation", title, outside, evidence, bars)


def _held_there(away: Away, scale: Scale) -> frozenset[str]:
    """The degrees a section accounts for: its own scale's, or those that mark its key."""
    if away.tonic != "1":
        return away.leaves
    return away.leaves | set(_parallel(scale).degrees)


def _parallel(scale: Scale) -> Scale:
    return SCALES["major" if "b3" in scale.degrees else "natural minor"]


# -- degree by degree ----------------------------------------------------------------------------

Found = tuple[list[Account], list[str]]


def _added(passage: Passage, scale: Scale, names: list[str]) -> Found:
    """Degrees that only a smaller scale leaves out, and the names that remain."""
    base = base_scale(scale)
    added = [name for name in names if name in base.degrees]
    if not added:
        return [], names
    tones = passage.named(*added)
    title = f"{base.name} rather than {scale.name}"
    evidence = f"{_seen(passage, tones)}; the {scale.name} leaves out {' '.join(added)}"
    return [_account("added", title, tones, evidence)], [n for n in names if n not in added]


def _is_normal(passage: Passage, scale: Scale, names: Sequence[str]) -> bool:
    """Whether these are only the other forms of 6 and 7 that minor takes up and down."""
    if scale.parent != "natural minor" or not names or not set(names) <= {"6", "7", "b6", "b7"}:
        return False
    return "6" not in names or "7" in passage.names


def _normal(passage: Passage, scale: Scale, names: list[str]) -> Found:
    """The forms of 6 and 7 in minor, and the names that remain."""
    normal = [name for name in names if _is_normal(passage, scale, [name])]
    if not normal:
        return [], names
    tones = passage.named(*normal)
    title = "natural minor's own sixth and seventh"
    if "7" in passage.names and "6" in normal:
        title = "melodic minor: raised sixth and seventh"
    elif "7" in normal:
        title = "harmonic minor: raised seventh"
    evidence = f"{_seen(passage, tones)}; normal in minor"
    return [_account("minor", title, tones, evidence)], [n for n in names if n not in normal]


def _replacements(passage: Passage, scale: Scale, names: list[str]) -> Found:
    """Degrees whose plain form never sounds, and the names that remain."""
    base = base_scale(scale)
    replaced = [name for name in names if _replaces(passage, base, name)]
    together = _scale_with(base, replaced)
    groups = [replaced] if together else [[name] for name in replaced]
    found = []
    for group in filter(None, groups):
        known = _scale_with(base, group)
        name = f"{departure_name(named_degree(group[0]), base)} throughout"
        found.append(_mode_account(passage, base, group, known.name if known else name))
    return found, [name for name in names if name not in replaced]


def _mode_account(passage: Passage, base: Scale, names: Sequence[str], title: str) -> Account:
    tones = passage.named(*names)
    plain = " and ".join(_plain(base, named_degree(name)) for name in names)
    evidence = f"{_seen(passage, tones)}, {plain} never"
    if len(names) == 1 and all(_role(passage, base, tone) == "passing" for tone in tones):
        name = departure_name(tones[0].degree, base)
        evidence += f"; or a passing {name}, since it goes on to {_goal(base, tones[0])}"
    return _account("mode", title, tones, evidence)


def _replaces(passage: Passage, base: Scale, name: str) -> bool:
    degree = named_degree(name)
    rivals = {n for n in passage.names if named_degree(n).number == degree.number}
    return rivals == {name} and name not in base.degrees


def _scale_with(base: Scale, names: Sequence[str]) -> Scale | None:
    """The known scale that is the base with these degrees in place of its own."""
    if not names:
        return None
    numbers = {named_degree(name).number for name in names}
    kept = [d for d in base.degrees if named_degree(d).number not in numbers]
    wanted = {*kept, *names}
    return next((s for s in SCALES.values() if set(s.degrees) == wanted), None)


def _beside(passage: Passage, base: Scale, names: Sequence[str]) -> Iterator[Account]:
    """Accounts of degrees that sound beside their plain form."""
    blue = [name for name in names if _is_blue(passage, base, name)]
    if blue:
        tones = passage.named(*blue)
        third = "3 sounds too" if "3" in passage.names else "the rest is minor"
        title = f"blue note{'s' * (len(blue) > 1)}: {' '.join(blue)}"
        yield _account("blue", title, tones, f"{_seen(passage, tones)}; {third}")
    for name in names:
        if name in blue:
            continue
        tones = passage.named(name)
        plain = _plain(base, tones[0].degree)
        kind, title, reason = _beside_role(passage, base, tones)
        beside = f"{plain} sounds {times(len(passage.named(plain)))}"
        if plain not in passage.names:
            beside = f"{plain} never sounds"
        yield _account(kind, title, tones, f"{_seen(passage, tones)}, {reason}; {beside}")


def _is_blue(passage: Passage, base: Scale, name: str) -> bool:
    if name not in _BLUE or name in base.degrees:
        return False
    if name == "b7":
        return {"b3", "3"} <= passage.names
    roles = {_role(passage, base, tone) for tone in passage.named(name)}
    return name == "b3" or "b3" in passage.names or roles != {"passing"}


def _beside_role(passage: Passage, base: Scale, tones: Sequence[Tone]) -> tuple[str, str, str]:
    """Kind, title and what the notes do."""
    name = departure_name(tones[0].degree, base)
    if tones[0].name == "3" and len(tones) == 1 and tones[0] is passage.tones[-1]:
        return "final", "major third at the end (Picardy third)", "the last note"
    roles = Counter(_role(passage, base, tone) for tone in tones)
    role, count = roles.most_common(1)[0]
    share = "" if len(tones) == 1 else " each time" if count == len(tones) else f" {times(count)}"
    if tones[0].name == "b2" and all(_falls_home(passage, tone) for tone in tones):
        return "neapolitan", "Neapolitan-like flat second", "it falls to 1 or 7"
    if role == "passing":
        way = "up" if _direction(base, tones[0].degree) > 0 else "down"
        return "passing", f"passing {name}", f"it goes {way} to {_goal(base, tones[0])}{share}"
    if role == "neighbour":
        return "neighbour", f"{name} as a neighbour note", f"a half step away and back{share}"
    if tones[0].name in ("b3", "b6", "b7"):
        return "borrowed", f"{name} borrowed from the parallel minor", "it does not resolve by step"
    return "colour", f"{name} as a colour", "it does not resolve by step"


def _falls_home(passage: Passage, tone: Tone) -> bool:
    after = passage.around(tone)[1]
    return after is not None and after.degree.plain in ("1", "7")


def _direction(base: Scale, degree: Degree) -> int:
    """1 for a degree raised against the scale, -1 for a lowered one."""
    return 1 if degree.alter >= named_degree(_plain(base, degree)).alter else -1


def _goal(base: Scale, tone: Tone) -> str:
    """The number of the degree it leans to: the next above if raised, the next below if not."""
    return str((tone.degree.number - 1 + _direction(base, tone.degree)) % 7 + 1)


def _role(passage: Passage, base: Scale, tone: Tone) -> str:
    """``passing`` if it goes on by a half step, ``neighbour`` if it goes back, or ``none``."""
    before, after = passage.approach(tone)
    if after is None:
        return "none"
    step = after.degree.interval.semitones - tone.degree.interval.semitones
    letters = after.degree.steps - tone.degree.steps
    if step == letters == _direction(base, tone.degree):
        return "passing"
    returns = before is not None and before.degree == after.degree and abs(step) == 1
    return "neighbour" if returns else "none"
