"""One degree outside a scale: what it is called, what it does there, and how that is told.

A degree beside its plain form is *passing* when it goes on by a half step the way it points (a
raised one up, a lowered one down), a *neighbour* when it goes back to the note it came from, a
*blue note* when it is the flat third, fifth or seventh of a tune that has the plain one too, and
else a colour.  Common practice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fretpath.music.key import SCALES, Degree, Scale
from fretpath.music.passage import Passage, Tone, named_degree
from fretpath.music.words import plural, times

__all__ = [
    "KINDS",
    "Account",
    "account",
    "base_scale",
    "beside",
    "departure_name",
    "goal",
    "plain_degree",
    "role",
    "seen",
    "tally",
]

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
    return scale if len({named_degree(d).number for d in scale.names}) == 7 else _parent(scale)


def _parent(scale: Scale) -> Scale:
    return SCALES[scale.parent]


def plain_degree(base: Scale, degree: Degree) -> str:
    """The base scale's own degree of that number."""
    return next(d for d in base.names if named_degree(d).number == degree.number)


def departure_name(degree: Degree, scale: Scale) -> str:
    """What a degree outside a scale is called: ``flat second``, ``raised fourth``.

    >>> departure_name(Degree.parse("#4"), SCALES["major"])
    'raised fourth'
    >>> departure_name(Degree.parse("7"), SCALES["natural minor"])
    'raised seventh'
    """
    above = degree.alter - named_degree(plain_degree(base_scale(scale), degree)).alter
    word = {1: "raised ", -1: "flat ", 2: "doubly raised ", -2: "doubly flat ", 0: "added "}
    return f"{word.get(above, 'altered ')}{_ORDINALS[degree.number]}"


def account(
    kind: str,
    title: str,
    tones: Sequence[Tone],
    evidence: str,
    bars: tuple[int, int] | None = None,
) -> Account:
    """An account of these tones."""
    degrees = tuple(dict.fromkeys(tone.name for tone in tones))
    return Account(kind, title, degrees, tuple(tone.note for tone in tones), evidence, bars)


def tally(tones: Sequence[Tone]) -> str:
    """``b3 twice, b6 once``, in the order of the scale."""
    counts = Counter(tone.name for tone in tones)
    order = sorted(counts, key=named_degree)
    return ", ".join(f"{name} {times(counts[name])}" for name in order)


def seen(passage: Passage, tones: Sequence[Tone]) -> str:
    """How often and where: ``#4 twice (bars 2, 6)``."""
    return f"{tally(tones)} ({passage.places(tones)})"


def beside(passage: Passage, base: Scale, names: Sequence[str]) -> Iterator[Account]:
    """Accounts of degrees that sound beside their plain form."""
    blue = [name for name in names if _is_blue(passage, base, name)]
    if blue:
        tones = passage.named(*blue)
        third = "3 sounds too" if "3" in passage.names else "the rest is minor"
        title = f"{plural(len(blue), 'blue note')}: {' '.join(blue)}"
        yield account("blue", title, tones, f"{seen(passage, tones)}; {third}")
    for name in names:
        if name in blue:
            continue
        tones = passage.named(name)
        plain = plain_degree(base, tones[0].degree)
        kind, title, reason = _beside_role(passage, base, tones)
        count = len(passage.named(plain))
        also = f"{plain} sounds {times(count)}" if count else f"{plain} never sounds"
        yield account(kind, title, tones, f"{seen(passage, tones)}, {reason}; {also}")


def _is_blue(passage: Passage, base: Scale, name: str) -> bool:
    if name not in _BLUE or name in base.names:
        return False
    if name == "b7":
        return {"b3", "3"} <= passage.names
    roles = {role(passage, base, tone) for tone in passage.named(name)}
    return name == "b3" or "b3" in passage.names or roles != {"passing"}


def _beside_role(passage: Passage, base: Scale, tones: Sequence[Tone]) -> tuple[str, str, str]:
    """Kind, title and what the notes do."""
    name = departure_name(tones[0].degree, base)
    if tones[0].name == "3" and len(tones) == 1 and tones[0] is passage.tones[-1]:
        return "final", "major third at the end (Picardy third)", "the last note"
    roles = Counter(role(passage, base, tone) for tone in tones)
    does, count = roles.most_common(1)[0]
    share = "" if len(tones) == 1 else " each time" if count == len(tones) else f" {times(count)}"
    if tones[0].name == "b2" and all(_falls_home(passage, tone) for tone in tones):
        return "neapolitan", "Neapolitan-like flat second", "it falls to 1 or 7"
    if does == "passing":
        way = "up" if direction(base, tones[0].degree) > 0 else "down"
        return "passing", f"passing {name}", f"it goes {way} to {goal(base, tones[0])}{share}"
    if does == "neighbour":
        return "neighbour", f"{name} as a neighbour note", f"a half step away and back{share}"
    if tones[0].name in ("b3", "b6", "b7"):
        return "borrowed", f"{name} borrowed from the parallel minor", "it does not resolve by step"
    return "colour", f"{name} as a colour", "it does not resolve by step"


def _falls_home(passage: Passage, tone: Tone) -> bool:
    after = passage.approach(tone)[1]
    return after is not None and after.name in ("1", "7")


def direction(base: Scale, degree: Degree) -> int:
    """1 for a degree raised against the scale, -1 for a lowered one."""
    return 1 if degree.alter >= named_degree(plain_degree(base, degree)).alter else -1


def goal(base: Scale, tone: Tone) -> str:
    """The number of the degree it leans to: the next above if raised, the next below if not."""
    return str((tone.degree.number - 1 + direction(base, tone.degree)) % 7 + 1)


def role(passage: Passage, base: Scale, tone: Tone) -> str:
    """``passing`` if it goes on by a half step, ``neighbour`` if it goes back, or ``none``."""
    before, after = passage.approach(tone)
    if after is None:
        return "none"
    step = after.degree.interval.semitones - tone.degree.interval.semitones
    letters = after.degree.steps - tone.degree.steps
    if step == letters == direction(base, tone.degree):
        return "passing"
    returns = before is not None and before.degree == after.degree and abs(step) == 1
    return "neighbour" if returns else "none"
