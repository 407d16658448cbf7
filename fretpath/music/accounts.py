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

from collections.abc import Iterator, Sequence

from fretpath.music.key import SCALES, Scale
from fretpath.music.outside import (
    Account,
    account,
    base_scale,
    beside,
    departure_name,
    goal,
    plain_degree,
    role,
    seen,
    tally,
)
from fretpath.music.passage import Passage, Tone, named_degree
from fretpath.music.sections import Away, modulations, parallel_sections

__all__ = ["accounts_of"]


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
    yield from beside(passage, base, names)


def _names_outside(passage: Passage, scale: Scale) -> list[str]:
    """The degrees a scale does not hold, in the order in which they first sound."""
    return list(dict.fromkeys(t.name for t in passage.tones if t.name not in scale.names))


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
    minor = "b3" in scale.names
    own, other = ("b3", "3") if minor else ("3", "b3")
    if own in passage.names or other not in passage.names or other in scale.names:
        return None
    there = _parallel(scale)
    names = [name for name in _names_outside(passage, scale) if name in there.names]
    tones = passage.named(*names)
    title = "major, not minor" if minor else "minor, not major"
    return account("third", title, tones, f"{seen(passage, tones)}, {own} never")


def _section(passage: Passage, away: Away, tones: Sequence[Tone], scale: Scale) -> Account:
    sounding = {tone.name for tone in tones}
    missing = [name for name in away.returns & passage.names if name not in sounding]
    evidence = tally([tone for tone in tones if tone.name in away.leaves])
    if missing:
        evidence += f"; no {' '.join(sorted(missing, key=named_degree))} there"
    bars = (tones[0].bar, tones[-1].bar) if passage.barred else None
    where = passage.stretch(tones)
    held = _held_there(away, scale) - set(scale.names)
    outside = [tone for tone in tones if tone.name in held]
    if away.tonic == "1":
        return account("section", f"{away.name}, {where}", outside, evidence, bars)
    evidence += f", and it ends on {away.tonic}"
    title = f"modulation to {away.name} suspected, {where}"
    return account("modulation", title, outside, evidence, bars)


def _held_there(away: Away, scale: Scale) -> frozenset[str]:
    """The degrees a section accounts for: its own scale's, or those that mark its key."""
    if away.tonic != "1":
        return away.leaves
    return away.leaves | set(_parallel(scale).names)


def _parallel(scale: Scale) -> Scale:
    return SCALES["major" if "b3" in scale.names else "natural minor"]


# -- degree by degree ----------------------------------------------------------------------------

Found = tuple[list[Account], list[str]]


def _added(passage: Passage, scale: Scale, names: list[str]) -> Found:
    """Degrees that only a smaller scale leaves out, and the names that remain."""
    base = base_scale(scale)
    added = [name for name in names if name in base.names]
    if not added:
        return [], names
    tones = passage.named(*added)
    title = f"{base.name} rather than {scale.name}"
    evidence = f"{seen(passage, tones)}; the {scale.name} leaves out {' '.join(added)}"
    return [account("added", title, tones, evidence)], [n for n in names if n not in added]


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
    evidence = f"{seen(passage, tones)}; normal in minor"
    return [account("minor", title, tones, evidence)], [n for n in names if n not in normal]


def _replacements(passage: Passage, scale: Scale, names: list[str]) -> Found:
    """Degrees whose plain form never sounds, and the names that remain."""
    base = base_scale(scale)
    replaced = [name for name in names if _replaces(passage, base, name)]
    if "7" in passage.names and "b7" in base.names:
        replaced = [name for name in replaced if name != "b2"]  # with a leading note, no Phrygian
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
    plain = " and ".join(plain_degree(base, named_degree(name)) for name in names)
    evidence = f"{seen(passage, tones)}, {plain} never"
    if len(names) == 1 and all(role(passage, base, tone) == "passing" for tone in tones):
        name = departure_name(tones[0].degree, base)
        if names[0] == "b2":
            name = "Neapolitan-like flat second"
        else:
            name = f"passing {name}"
        evidence += f"; or a {name}, since it goes on to {goal(base, tones[0])}"
    return account("mode", title, tones, evidence)


def _replaces(passage: Passage, base: Scale, name: str) -> bool:
    degree = named_degree(name)
    rivals = {n for n in passage.names if named_degree(n).number == degree.number}
    return rivals == {name} and name not in base.names


def _scale_with(base: Scale, names: Sequence[str]) -> Scale | None:
    """The known scale that is the base with these degrees in place of its own."""
    if not names:
        return None
    numbers = {named_degree(name).number for name in names}
    kept = [d for d in base.names if named_degree(d).number not in numbers]
    wanted = {*kept, *names}
    return next((s for s in SCALES.values() if set(s.names) == wanted), None)
