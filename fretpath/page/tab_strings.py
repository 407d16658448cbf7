"""Whose strings the lines of a text tab are: instrument, tuning, capo, parts, order, gaps.

**Who decides.**  What the caller says; else the words around the tab; else the names of the
strings; else how many there are.  Names that stand in the order of the catalogue read downwards;
turned round they mean that the low string is on top.  Names that are some of an instrument's
strings, in order, are the strings in use and the others are silent.  Whatever is not plainly
written is told as a guess.

Letters do not tell octaves: a tuning in letters is the one nearest to the usual strings.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from fretpath.errors import FretpathError, RequestError, ScoreFileError, printable
from fretpath.music.pitch import Pitch
from fretpath.neck.catalogue import INSTRUMENTS
from fretpath.neck.instrument import Instrument
from fretpath.page.tab_lines import SystemLines, WordLine
from fretpath.page.tab_words import TabWords, TuningWords
from fretpath.remarks import Remark

_BY_COUNT = {4: "bass", 5: "bass-5", 6: "guitar", 7: "guitar-7"}
_COMMON = ("bass", "guitar", "ukulele", "banjo", "bass-5", "guitar-7", "bass-6")
"""Instruments that some strings without more words are looked for on, the likeliest first."""
_TURNED = ("guitar", "bass", "bass-5")
"""Instruments that are drawn with the low string on top most often."""

Lines = tuple[int, ...]
"""The string number of each line, top line first."""


@dataclass(frozen=True, slots=True)
class Strings:
    """An instrument, and which of its strings each line of a system is."""

    instrument: Instrument
    """What is played, tuning and capo as the tab has them."""
    lines: Lines
    """String number of each line of the widest system, top line first."""
    remarks: tuple[Remark, ...] = ()
    """What was guessed or turned round."""
    instead: str = ""
    """An instrument that has the same string names from the bottom up; empty if none has."""


# -- names ---------------------------------------------------------------------------------------

_SIGNED = re.compile(r"(?<![A-Za-z])([A-Ha-h](?:#|b)?)(\d?)(?![A-Za-z#])")
_SOLFEGE = {"do": "C", "re": "D", "mi": "E", "fa": "F", "sol": "G", "la": "A", "si": "B"}
_GERMAN = {"H": "B", "h": "b", "B": "Bb", "b": "bb"}


def string_names(system: SystemLines) -> list[str]:
    """The note in front of each line, such as ``G`` or ``G2``; empty where there is none."""
    names = [name_in(line.label) for line in system.lines]
    german = any(name[:1] in ("H", "h") for name in names)
    return [_GERMAN.get(name, name) for name in names] if german else names


def name_in(label: str) -> str:
    """The note in a label.

    >>> [name_in(label) for label in ("high e", "(G)", "sol", "g2", "3rd")]
    ['e', 'G', 'G', 'G2', '']
    """
    found = _SIGNED.findall(label) or [(_SOLFEGE.get(label.strip("() .:").lower(), ""), "")]
    letter, octave = found[-1]
    return f"{letter[0].upper()}{letter[1:]}{octave}" if octave else letter


def _numbers(system: SystemLines) -> list[int]:
    """Numbers of strings in front of the lines, if every line has one and they run in order."""
    form = r"[(\[]?(\d{1,2})(?:st|nd|rd|th)?[.)\]]?"
    found = [re.fullmatch(form, line.label) for line in system.lines]
    numbers = [int(match[1]) for match in found if match]
    in_order = len({b - a for a, b in pairwise(numbers)}) <= 1
    return numbers if in_order and len(numbers) == len(found) else []


def _letters(names: Iterable[str]) -> list[str]:
    """Names without octaves, all in capitals."""
    return [name.rstrip("0123456789").upper() for name in names]


def _have_octaves(names: Iterable[str]) -> bool:
    return all(name[-1:].isdecimal() for name in names)


def names_among(few: Sequence[str], many: Sequence[str]) -> tuple[int, ...]:
    """Where some names stand among others in the same order; neighbors before scattered ones.

    >>> names_among("AE", "GDAE"), names_among("GA", "GDAE"), names_among("EA", "GDAE")
    ((2, 3), (0, 2), ())
    """
    for start in range(len(many) - len(few) + 1):
        if list(many[start : start + len(few)]) == list(few):
            return tuple(range(start, start + len(few)))
    found: list[int] = []
    for name in few:
        start = found[-1] + 1 if found else 0
        if name not in many[start:]:
            return ()
        found.append(many.index(name, start))
    return tuple(found)


# -- parts ---------------------------------------------------------------------------------------

_PART = re.compile(
    r"\W*((?:(?:lead|rhythm|acoustic|electric|solo|upper|lower|first|second|1st|2nd) )*"
    r"(?:guitars?|gtrs?|bass|lead|rhythm|ukulele|uke|mandolin|banjo|voice|vocals?)\.?"
    r"(?: ?(?:#|no\.?)? ?[1-9ab])?)\b",
    re.IGNORECASE,
)
_NEAR = 4
"""Lines above a system in which its heading may stand."""


@dataclass(slots=True)
class Part:
    """The systems of one player."""

    name: str
    """As the text calls it; empty if it does not."""
    widest: SystemLines
    """The first of its systems with most strings."""
    systems: list[SystemLines] = field(default_factory=list)
    """In order."""

    def add(self, system: SystemLines) -> None:
        """Put a system behind the others."""
        self.systems.append(system)
        self.widest = max(self.widest, system, key=lambda one: len(one.lines))


def parts_of(systems: Sequence[SystemLines], words: Sequence[WordLine]) -> list[Part]:
    """The systems by the player they are for: by the heading above them, and by their strings."""
    texts = {word.number: word.text for word in words}
    parts: list[Part] = []
    current: Part | None = None
    for system in systems:
        heading = _heading(system, texts)
        if heading:
            same = (part for part in parts if part.name.lower() == heading.lower())
            current = next(same, None)
        elif current is None or not _fits(system, current):
            current = next((part for part in parts if _fits(system, part)), None)
        if current is None:
            current = Part(heading, system)
            parts.append(current)
        current.add(system)
    return parts


def _heading(system: SystemLines, texts: Mapping[int, str]) -> str:
    first = system.lines[0].number
    near = (texts.get(number, "") for number in range(first - 1, first - 1 - _NEAR, -1))
    return next((name for text in near if (name := heading_in(text))), "")


def heading_in(text: str) -> str:
    """The player that a line names, such as ``Guitar 2`` or ``Bass (low)``; empty if it does not.

    >>> heading_in("Guitar 2 (lead)"), heading_in("the bass is low")
    ('Guitar 2', '')
    """
    found = _PART.match(text)
    short = found and len(text.strip()) <= len(found[0].strip()) + 24 and " is " not in text
    return found[1] if found and short else ""


def _fits(system: SystemLines, part: Part) -> bool:
    """Whether a system without a heading goes on in a part."""
    few, many = sorted((system, part.widest), key=lambda one: len(one.lines))
    if len(few.lines) == len(many.lines) or not any(few.labels):
        return True
    return bool(names_among(string_names(few), string_names(many)))


def find_part(parts: Sequence[Part], wanted: str | None, source: str) -> tuple[Part, list[Remark]]:
    """The part asked for by number from 1 or by name; the first one, and a doubt, if none is."""
    told = ", ".join(
        f"{number} {printable(part.name[:20]) or 'without a name'} "
        f"({len(part.widest.lines)} strings, line {part.systems[0].lines[0].number})"
        for number, part in enumerate(parts, start=1)
    )
    if wanted is None:
        text = f"{len(parts)} parts: {told}; only part 1 is read (--tab-part 2 reads another)"
        return parts[0], [Remark("doubt", text)] * (len(parts) > 1)
    for number, part in enumerate(parts, start=1):
        if wanted.lower() in (str(number), part.name.lower()):
            return part, []
    raise RequestError(f'{source}: there is no part "{wanted[:40]}" (there is {told})')


# -- the instrument ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Given:
    """The caller's words on the instrument; it counts before the tab."""

    instrument: Instrument | None = None
    """What is played; None leaves it to the tab."""
    tuned: bool = False
    """Whether its tuning is the caller's too, and not the usual one of a name."""
    capo: int | None = None
    """Fret under the capo; None leaves it to the tab."""


def strings_of(system: SystemLines, words: TabWords, given: Given) -> Strings:
    """The instrument of a tab and its strings.

    Raises :class:`RequestError` where nothing tells what the strings are.
    """
    names, numbers = string_names(system), _numbers(system)
    remarks: list[Remark] = []
    instrument, lines = _instrument_of(names, words, given, remarks)
    if numbers:
        lines = tuple(numbers) if max(numbers) <= len(lines) else lines
    elif words.upside_down and not any(names):
        lines = lines[::-1]
    elif words.upside_down and lines[0] < lines[-1]:
        text = "the words say the low string is on top, the names of the strings do not: they count"
        remarks.append(Remark("doubt", text))
    capo = given.capo if given.capo is not None else words.capo
    try:
        instrument = instrument.with_changes(capo=capo)
    except RequestError:
        if given.capo is not None:
            raise
        remarks.append(Remark("doubt", f"a capo at fret {capo} is beyond this neck: not obeyed"))
    instead = "" if given.instrument or words.instrument else _turned_names(names)
    return Strings(instrument, lines, tuple(remarks), instead)


def _instrument_of(
    names: Sequence[str], words: TabWords, given: Given, remarks: list[Remark]
) -> tuple[Instrument, Lines]:
    """The instrument with its tuning, and the string of each line."""
    instrument = given.instrument
    if instrument is None:
        instrument, lines = _likeliest(names, words, remarks)
        return _tune(instrument, names, lines, words, remarks), lines
    lines = _fit(instrument, names, remarks)
    if not lines and len(names) != len(instrument.strings):
        raise RequestError(
            f"the tab has {len(names)} strings, the {instrument.name} has "
            f"{len(instrument.strings)}; say which instrument it is for with --instrument"
        )
    lines = lines or _every(names)
    another = words.own and words.instrument != instrument.name
    if given.tuned or another or words.tuning is None:
        return instrument, lines
    return _tune(instrument, names, lines, words, remarks), lines


def _every(names: Sequence[str]) -> Lines:
    return tuple(range(1, len(names) + 1))


def _likeliest(
    names: Sequence[str], words: TabWords, remarks: list[Remark]
) -> tuple[Instrument, Lines]:
    """The likeliest instrument for these lines, usual tuning, and the string of each line."""
    if words.own and words.tuning:
        return INSTRUMENTS[words.instrument or "bass"], _every(names)
    kin = list(_family(words.instrument)) if words.instrument else []
    if all(names):
        for instrument in kin:
            if lines := _fit(instrument, names, remarks):
                return instrument, lines
        if found := _by_names(names, remarks, turn=not words.own):
            return found
    usual = next((made for made in kin if len(made.strings) == len(names)), None)
    if usual is None and len(names) not in _BY_COUNT:
        raise RequestError(
            f"a tab of {len(names)} strings: say what it is for with --instrument or --tuning"
        )
    instrument = usual or INSTRUMENTS[_BY_COUNT[len(names)]]
    if not any(names):
        told = f"read as {instrument.name}, by its {len(names)} strings (or say --instrument)"
        remarks.append(Remark("guessed", told))
    return instrument, _every(names)


def _family(name: str) -> Iterator[Instrument]:
    """An instrument and its kin."""
    return (made for made in INSTRUMENTS.values() if f"{made.name}-".startswith(f"{name}-"))


def _order(instrument: Instrument, names: Sequence[str]) -> int:
    """1 if lines of these names are all strings in order, -1 from the bottom up, 0 if neither."""
    own = _letters(instrument.string_names)
    if _have_octaves(names):
        own = [str(string.open).upper() for string in instrument.strings]
    wanted = [name.upper() for name in names]
    return 1 if wanted == own else -(wanted == own[::-1])


def _fit(instrument: Instrument, names: Sequence[str], remarks: list[Remark]) -> Lines:
    """The string of each line on an instrument by their names; none if they are not its own."""
    letters = _letters(names)
    if order := _order(instrument, letters):
        if order < 0:
            remarks.append(_low_on_top(instrument))
        return _every(names)[::order]
    if not all(names) or len(names) >= len(instrument.strings):
        return ()
    some = names_among(names, instrument.string_names)
    some = some or names_among(letters, _letters(instrument.string_names))
    return _some_strings(instrument, some, remarks)


def _low_on_top(instrument: Instrument) -> Remark:
    text = f"the low string of the {instrument.name} stands on top: read from the bottom up"
    return Remark("doubt", text)


def _some_strings(instrument: Instrument, some: Sequence[int], remarks: list[Remark]) -> Lines:
    lines = tuple(index + 1 for index in some)
    if lines:
        told = f"read as {', '.join(map(str, lines))} of the {instrument.name}"
        text = f"only some strings are shown: {told} (or say --instrument)"
        remarks.append(Remark("guessed", text))
    return lines


def _turned_names(names: Sequence[str]) -> str:
    """The common instrument that has these string names from the bottom up only."""
    return next((name for name in _TURNED if _order(INSTRUMENTS[name], names) < 0), "")


def _by_names(
    names: Sequence[str], remarks: list[Remark], *, turn: bool
) -> tuple[Instrument, Lines] | None:
    """The first instrument with these strings, in order, from the bottom up, or among others."""
    letters = [re.sub(r"\d", "", name) for name in names]
    ways = [names, letters] if _have_octaves(names) else [letters]
    for way in ways:
        orders = {made.name: _order(made, way) for made in INSTRUMENTS.values()}
        for order in (1, -1) if turn else (1,):
            name = next((name for name, found in orders.items() if found == order), None)
            if name:
                remarks += _tell_names(name, way, order, turn=turn)
                return INSTRUMENTS[name], _every(names)[::order]
    for exact in (True, False):
        for made in map(INSTRUMENTS.__getitem__, _COMMON):
            own = list(made.string_names) if exact else _letters(made.string_names)
            some = names_among(letters if exact else _letters(names), own)
            if len(names) < len(own) and (lines := _some_strings(made, some, remarks)):
                return made, lines
    return None


def _tell_names(name: str, names: Sequence[str], order: int, *, turn: bool) -> Iterator[Remark]:
    """The remark on an instrument found by its names; octaves leave no doubt."""
    turned = turn and _turned_names(names)
    if order < 0:
        yield _low_on_top(INSTRUMENTS[name])
    elif not _have_octaves(names):
        told = f"read as {name}, by its string names (or say --instrument)"
        more = f"; the same names from the bottom up are a {turned}" if turned else ""
        yield Remark("doubt" if turned else "guessed", told + more)


# -- the tuning ----------------------------------------------------------------------------------


def _tune(
    instrument: Instrument,
    names: Sequence[str],
    lines: Lines,
    words: TabWords,
    remarks: list[Remark],
) -> Instrument:
    """The instrument with the tuning that words or string names tell."""
    if words.tuning:
        try:
            return _by_words(instrument, names, words.tuning, remarks, own=words.own)
        except FretpathError as problem:
            text = f'"{printable(words.tuning.said[:60])}" is not obeyed: {problem}'
            remarks.append(Remark("doubt", text))
    if not all(names) or len(names) != len(instrument.strings):
        return instrument
    order = [name for _, name in sorted(zip(lines, names, strict=True))]
    if _letters(order) == _letters(instrument.string_names) and not _have_octaves(order):
        return instrument
    tuning = _pitches(order, instrument)
    if tuning == [string.open for string in instrument.strings]:
        return instrument
    tuned = _with_strings(instrument, tuning)
    told = f"read as {instrument.name} tuned {tuned.tuning}, by its string names"
    remarks.append(Remark("guessed", f"{told} (or say --instrument)"))
    return tuned


def _with_strings(instrument: Instrument, tuning: Sequence[Pitch]) -> Instrument:
    return instrument.with_changes(tuning=" ".join(map(str, reversed(tuning))))


def _pitches(names: Sequence[str], instrument: Instrument) -> list[Pitch]:
    """Open strings by their names, string 1 first; without octaves, nearest to the usual ones."""
    if _have_octaves(names):
        return [Pitch.parse(name[0].upper() + name[1:]) for name in names]
    usual = [string.open.midi for string in instrument.strings]
    return [_nearest(name, midi) for name, midi in zip(names, usual, strict=True)]


def _nearest(name: str, midi: int) -> Pitch:
    """The pitch of a name that is nearest to a sound; the lower of two."""
    low = Pitch.parse(f"{name[0].upper()}{name[1:].lower()}0")
    return Pitch.parse(f"{low.name}{(midi - low.midi + 5) // 12}")


def _by_words(
    instrument: Instrument,
    names: Sequence[str],
    words: TuningWords,
    remarks: list[Remark],
    *,
    own: bool,
) -> Instrument:
    if own:
        return _with_strings(instrument, [Pitch.parse(name) for name in reversed(words.names)])
    if words.names:
        tuning = _in_letters(instrument, words.names)
    elif words.one:
        tuning = _one_string(instrument, *words.one)
    else:
        tuning = _as_named(instrument, names, words) or _change(instrument, words)
    tuned = _with_strings(instrument, tuning)
    told = f"read as {instrument.name} tuned {tuned.tuning}, by the words"
    if all(names) and _letters(names) != _letters(tuned.string_names):
        told += f", although its string names are {' '.join(names)}"
    remarks.append(Remark("read", told))
    return tuned


def _in_letters(instrument: Instrument, names: Sequence[str]) -> list[Pitch]:
    """Open strings in letters, string 1 first; low to high as spoken unless that lies far off."""
    if len(names) != len(instrument.strings):
        raise ScoreFileError(
            f"it names {len(names)} strings, the {instrument.name} has {len(instrument.strings)}"
        )
    usual = [string.open for string in instrument.strings]
    ways = (names[::-1], names)
    if not _have_octaves(names):
        for way in ways:
            for made in _family(instrument.name.split("-")[0]):
                pitches = [string.open for string in made.strings]
                if [pitch.name.upper() for pitch in pitches] == _letters(way):
                    return pitches
    tries = [_pitches(way, instrument) for way in ways]
    return min(
        tries, key=lambda way: sum(abs(a.midi - b.midi) for a, b in zip(way, usual, strict=True))
    )


def _as_named(
    instrument: Instrument, names: Sequence[str], words: TuningWords
) -> list[Pitch] | None:
    """The usual strings changed, if the names of the strings say so too."""
    for usual in _family(instrument.name.split("-")[0]):
        if len(usual.strings) == len(instrument.strings):
            pitches = _change(usual, words)
            letters = [pitch.name.upper() for pitch in pitches]
            return pitches if _letters(names) in (letters, letters[::-1]) else None
    return None


def _one_string(instrument: Instrument, name: str, to: str) -> list[Pitch]:
    """Open strings, the lowest of a name tuned to the nearest pitch of another."""
    pitches = [string.open for string in instrument.strings]
    found = [index for index, pitch in enumerate(pitches) if pitch.name == name]
    if not found:
        raise ScoreFileError(f"the {instrument.name} has no string {name}")
    low = min(found, key=lambda index: pitches[index].midi)
    pitches[low] = _nearest(to, pitches[low].midi)
    return pitches


_LOWEST_SHIFT = 7


def _change(instrument: Instrument, words: TuningWords) -> list[Pitch]:
    """The usual strings moved, the lowest perhaps a whole step more; string 1 first."""
    usual = [string.open.midi for string in instrument.strings]
    low = usual.index(min(usual))
    steps = words.steps
    usual[low] -= 2 * words.drop
    if words.lowest:
        wanted = Pitch.parse(f"{words.lowest}4").midi
        ways = range(-_LOWEST_SHIFT, 4)
        near = [step for step in ways if (usual[low] + step - wanted) % 12 == 0]
        if not near:
            raise ScoreFileError(f"{words.lowest} lies far from the lowest string")
        steps = min(near, key=abs)
    lowest = words.lowest or Pitch.from_midi(usual[low] + steps, flattest=-4).name
    flattest = -6 if Pitch.parse(f"{lowest}4").fifths <= 0 else -1
    return [Pitch.from_midi(midi + steps, flattest) for midi in usual]
