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
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
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


@dataclass(frozen=True, slots=True)
class Strung:
    """An instrument, and which of its strings each line of a system is."""

    instrument: Instrument
    """What is played, tuning and capo as the tab has them."""
    strings: tuple[int, ...]
    """String number of each line of the widest system, top line first."""
    remarks: tuple[Remark, ...] = ()
    """What was guessed or turned round."""
    instead: str = ""
    """An instrument that has the same string names from the bottom up; empty if none has."""


# -- names ---------------------------------------------------------------------------------------

_SIGNED = re.compile(r"(?<![A-Za-z])([A-Ha-h](?:#|b)?)(\d?)(?![A-Za-z#])")
_SOLFEGE = {"do": "C", "re": "D", "mi": "E", "fa": "F", "sol": "G", "la": "A", "si": "B"}


def string_names(labels: Sequence[str]) -> list[str]:
    """The note in front of each line, such as ``G`` or ``G2``; empty where there is none.

    >>> string_names(["high e", "H", "(G)", "3rd"])
    ['e', 'B', 'G', '']
    """
    names = [_name(label) for label in labels]
    if any(name[:1] in ("H", "h") for name in names):
        german = {"H": "B", "h": "b", "B": "Bb", "b": "bb"}
        names = [german.get(name, name) for name in names]
    return names


def _name(label: str) -> str:
    whole = _SOLFEGE.get(label.strip("() .:").lower())
    if whole:
        return whole
    found = _SIGNED.findall(label)
    if not found:
        return ""
    letter, octave = found[-1]
    return f"{letter[0].upper()}{letter[1:]}{octave}" if octave else letter


def _numbers(labels: Sequence[str]) -> list[int]:
    """Numbers of strings in front of the lines, if every line has one and they run in order."""
    found = [re.fullmatch(r"[(\[]?(\d{1,2})(?:st|nd|rd|th)?[.)\]]?", label) for label in labels]
    numbers = [int(match[1]) for match in found if match]
    if len(numbers) == len(labels) and len({b - a for a, b in pairwise(numbers)}) <= 1:
        return numbers
    return []


# -- parts ---------------------------------------------------------------------------------------

_PART = re.compile(
    r"\W*((?:(?:lead|rhythm|acoustic|electric|solo|upper|lower|first|second|1st|2nd) )*"
    r"(?:guitars?|gtrs?|bass|lead|rhythm|ukulele|uke|mandolin|banjo|voice|vocals?)\.?"
    r"(?: ?(?:#|no\.?)? ?[1-9ab])?)\b",
    re.IGNORECASE,
)


@dataclass(slots=True)
class Part:
    """The systems of one player."""

    name: str
    """As the text calls it; empty if it does not."""
    systems: list[SystemLines]
    """In order."""

    @property
    def widest(self) -> SystemLines:
        """The first of the systems with most strings."""
        return max(self.systems, key=lambda system: len(system.lines))


def parts_of(systems: Sequence[SystemLines], words: Sequence[WordLine]) -> list[Part]:
    """The systems by the player they are for: by the heading above them, and by their strings."""
    headings = [_heading(system, words) for system in systems]
    parts: list[Part] = []
    current: Part | None = None
    for system, heading in zip(systems, headings, strict=True):
        if heading:
            same = (part for part in parts if part.name.lower() == heading.lower())
            current = next(same, None)
        elif current is None or not _fits(system, current):
            current = next((part for part in parts if _fits(system, part)), None)
        if current is None:
            current = Part(heading, [])
            parts.append(current)
        current.systems.append(system)
    return parts


def _heading(system: SystemLines, words: Sequence[WordLine]) -> str:
    first = system.lines[0].number
    near = [word.text for word in words if first - 4 <= word.number < first]
    return next((found[1] for text in reversed(near) if (found := _part(text))), "")


def is_heading(text: str) -> bool:
    """Whether a line names a player, such as ``Guitar 2`` or ``Bass (low)``."""
    return _part(text) is not None


def _part(text: str) -> re.Match[str] | None:
    found = _PART.match(text)
    short = found is not None and len(text.strip()) <= len(found[0].strip()) + 24
    return found if short and " is " not in text else None


def _fits(system: SystemLines, part: Part) -> bool:
    """Whether a system without a heading goes on in a part."""
    widest = part.widest
    if len(system.lines) == len(widest.lines):
        return True
    few, many = sorted((system, widest), key=lambda one: len(one.lines))
    return not any(few.labels) or bool(
        names_among(string_names(few.labels), string_names(many.labels))
    )


def part_named(parts: Sequence[Part], wanted: str | None, source: str) -> tuple[Part, list[Remark]]:
    """The part asked for by number from 1 or by name; the first one, and a doubt, if none is."""
    told = ", ".join(
        f"{number} {printable(part.name[:20]) or 'without a name'} "
        f"({len(part.widest.lines)} strings, line {part.systems[0].lines[0].number})"
        for number, part in enumerate(parts, start=1)
    )
    if wanted is None:
        if len(parts) == 1:
            return parts[0], []
        text = f"{len(parts)} parts: {told}; only part 1 is read (--tab-part 2 reads another)"
        return parts[0], [Remark("doubt", text)]
    for number, part in enumerate(parts, start=1):
        if wanted in (str(number), part.name) or wanted.lower() == part.name.lower():
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


def strung(system: SystemLines, words: TabWords, given: Given) -> Strung:
    """The instrument of a tab and its strings.

    Raises :class:`RequestError` where nothing tells what the strings are.
    """
    names, numbers = string_names(system.labels), _numbers(system.labels)
    remarks: list[Remark] = []
    instrument, strings = _instrument_of(names, words, given, remarks)
    if numbers:
        strings = _numbered(numbers, strings)
    elif words.upside_down and not any(names):
        strings = strings[::-1]
    elif words.upside_down and strings[0] < strings[-1]:
        text = "the words say the low string is on top, the names of the strings do not: they count"
        remarks.append(Remark("doubt", text))
    capo = given.capo if given.capo is not None else words.capo
    try:
        instrument = instrument if capo is None else replace(instrument, capo=capo)
    except RequestError:
        if given.capo is not None:
            raise
        remarks.append(Remark("doubt", f"a capo at fret {capo} is beyond this neck: not obeyed"))
    instead = "" if given.instrument or words.instrument else _turned_names(names)
    return Strung(instrument, strings, tuple(remarks), instead)


def _instrument_of(
    names: Sequence[str], words: TabWords, given: Given, remarks: list[Remark]
) -> tuple[Instrument, tuple[int, ...]]:
    """The instrument with its tuning, and the string of each line."""
    instrument = given.instrument
    if instrument is None:
        instrument, strings = _found(names, words, remarks)
        return _tuned(instrument, names, strings, words, remarks), strings
    placed = _lines_on(instrument, names, remarks)
    if placed is None:
        raise RequestError(
            f"the tab has {len(names)} strings, the {instrument.name} has "
            f"{len(instrument.strings)}; say which instrument it is for with --instrument"
        )
    another = words.own and words.instrument != instrument.name
    tuned = given.tuned or another or words.tuning is None
    return instrument if tuned else _tuned(instrument, names, placed, words, remarks), placed


def _numbered(numbers: Sequence[int], strings: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(numbers) if max(numbers) <= len(strings) else strings


def _found(
    names: Sequence[str], words: TabWords, remarks: list[Remark]
) -> tuple[Instrument, tuple[int, ...]]:
    """The likeliest instrument for these lines, usual tuning, and the string of each line."""
    count = len(names)
    plain = [re.sub(r"\d", "", name) for name in names]
    if words.own and words.tuning:
        instrument = INSTRUMENTS.get(words.instrument, INSTRUMENTS["bass"])
        return instrument, tuple(range(1, count + 1))
    family = list(_family(words.instrument))
    for instrument in family if all(plain) else ():
        if strings := _lines_on(instrument, plain, remarks, strict=True):
            return instrument, strings
    if all(names) and _pitched(names) and (found := _by_pitches(names, remarks)):
        return found
    if all(names) and (found := _by_names(plain, remarks, turn=not words.own)):
        return found
    usual = [made for made in family if len(made.strings) == count]
    if not usual and count not in _BY_COUNT:
        raise RequestError(
            f"a tab of {count} strings: say what it is for with --instrument or --tuning"
        )
    instrument = usual[0] if usual else INSTRUMENTS[_BY_COUNT[count]]
    if not any(names):
        told = f"read as {instrument.name}, by its {count} strings (or say --instrument)"
        remarks.append(Remark("guessed", told))
    return instrument, tuple(range(1, count + 1))


def _family(name: str) -> Iterator[Instrument]:
    """The instrument a heading names, and its kin."""
    if name:
        yield from (made for made in INSTRUMENTS.values() if f"{made.name}-".startswith(f"{name}-"))


def _lines_on(
    instrument: Instrument, names: Sequence[str], remarks: list[Remark], *, strict: bool = False
) -> tuple[int, ...] | None:
    """The string of each line on an instrument; *strict* if its names must be the usual ones."""
    own = [name.upper() for name in instrument.string_names]
    wanted = [re.sub(r"\d", "", name).upper() for name in names]
    every = tuple(range(1, len(own) + 1))
    if len(names) == len(own):
        if wanted == own[::-1] != own and all(wanted):
            remarks.append(_turned(instrument))
            return every[::-1]
        return every if wanted == own or not strict else None
    if all(wanted) and len(names) < len(own):
        some = names_among(names, instrument.string_names) or names_among(wanted, own)
        if some:
            remarks.append(_in_use(instrument, some))
            return tuple(index + 1 for index in some)
    return None


def _turned(instrument: Instrument) -> Remark:
    text = f"the low string of the {instrument.name} stands on top: read from the bottom up"
    return Remark("doubt", text)


def _in_use(instrument: Instrument, some: Sequence[int]) -> Remark:
    strings = ", ".join(str(index + 1) for index in some)
    text = f"only some strings are shown: read as {strings} of the {instrument.name}"
    return Remark("guessed", f"{text} (or say --instrument)")


def names_among(few: Sequence[str], many: Sequence[str]) -> tuple[int, ...] | None:
    """Where some names stand among others in the same order; neighbors before scattered ones.

    >>> names_among("AE", "GDAE"), names_among("EA", "GDAE")
    ((2, 3), None)
    """
    for start in range(len(many) - len(few) + 1):
        if list(many[start : start + len(few)]) == list(few):
            return tuple(range(start, start + len(few)))
    found: list[int] = []
    for name in few:
        start = found[-1] + 1 if found else 0
        index = next((i for i in range(start, len(many)) if many[i] == name), None)
        if index is None:
            return None
        found.append(index)
    return tuple(found)


def _by_pitches(
    names: Sequence[str], remarks: list[Remark]
) -> tuple[Instrument, tuple[int, ...]] | None:
    """The instrument whose open strings are exactly these."""
    pitches = [Pitch.parse(name[0].upper() + name[1:]) for name in names]
    every = tuple(range(1, len(names) + 1))
    for instrument in INSTRUMENTS.values():
        own = [string.open for string in instrument.strings]
        if own == pitches:
            return instrument, every
        if own == pitches[::-1]:
            remarks.append(_turned(instrument))
            return instrument, every[::-1]
    return None


def _turned_names(names: Sequence[str]) -> str:
    """The common instrument that has these string names from the bottom up only."""
    letters = [name.upper() for name in names]
    for name in ("guitar", "bass", "bass-5"):
        own = [name.upper() for name in INSTRUMENTS[name].string_names]
        if own[::-1] == letters != own:
            return name
    return ""


def _by_names(
    names: Sequence[str], remarks: list[Remark], *, turn: bool
) -> tuple[Instrument, tuple[int, ...]] | None:
    letters = [name.upper() for name in names]
    every = tuple(range(1, len(names) + 1))
    whole = {
        made.name: [name.upper() for name in made.string_names] for made in INSTRUMENTS.values()
    }
    turned = turn and _turned_names(names)
    for name, own in whole.items():
        if own == letters:
            told = f"read as {name}, by its string names (or say --instrument)"
            if not turned:
                remarks.append(Remark("guessed", told))
                return INSTRUMENTS[name], every
            text = f"{told}; the same names from the bottom up are a {turned}"
            remarks.append(Remark("doubt", text))
            return INSTRUMENTS[name], every
    for name, own in whole.items():
        if turn and own[::-1] == letters:
            remarks.append(_turned(INSTRUMENTS[name]))
            return INSTRUMENTS[name], every[::-1]
    for exact in (True, False):
        for name in _COMMON:
            own = list(INSTRUMENTS[name].string_names) if exact else whole[name]
            some = names_among(names if exact else letters, own) if len(names) < len(own) else None
            if some:
                remarks.append(_in_use(INSTRUMENTS[name], some))
                return INSTRUMENTS[name], tuple(index + 1 for index in some)
    return None


# -- the tuning ----------------------------------------------------------------------------------


def _tuned(
    instrument: Instrument,
    names: Sequence[str],
    strings: tuple[int, ...],
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
    order = [name for _, name in sorted(zip(strings, names, strict=True))]
    letters = [re.sub(r"\d", "", name).upper() for name in order]
    if letters == [name.upper() for name in instrument.string_names] and not _pitched(order):
        return instrument
    tuning = order if _pitched(order) else _nearest(order, instrument)
    if [Pitch.parse(pitch) for pitch in tuning] == [string.open for string in instrument.strings]:
        return instrument
    tuned = instrument.with_changes(tuning=" ".join(reversed(tuning)))
    told = f"read as {instrument.name} tuned {tuned.tuning}, by its string names"
    remarks.append(Remark("guessed", f"{told} (or say --instrument)"))
    return tuned


def _pitched(names: Iterable[str]) -> bool:
    return all(name[-1:].isdigit() for name in names)


def _nearest(names: Sequence[str], instrument: Instrument) -> list[str]:
    """Pitches of these names nearest to the usual ones, string 1 first."""
    pitches = []
    for name, string in zip(names, instrument.strings, strict=True):
        letter = name[0].upper() + name[1:].lower()
        low = Pitch.parse(f"{letter}0")
        pitches.append(f"{letter}{(string.open.midi - low.midi + 6) // 12}")
    return pitches


def _by_words(
    instrument: Instrument,
    names: Sequence[str],
    words: TuningWords,
    remarks: list[Remark],
    *,
    own: bool,
) -> Instrument:
    if words.names:
        tuning = _in_letters(instrument, words.names, own=own)
    elif words.one:
        tuning = _one_string(instrument, *words.one)
    else:
        tuning = _as_named(instrument, names, words) or _changed(instrument, words)
    tuned = instrument.with_changes(tuning=" ".join(str(pitch) for pitch in reversed(tuning)))
    if not own:
        told = f"read as {instrument.name} tuned {tuned.tuning}, by the words"
        seen = [re.sub(r"\d", "", name).upper() for name in names]
        if all(seen) and seen != [name.upper() for name in tuned.string_names]:
            told += f", although its string names are {' '.join(names)}"
        remarks.append(Remark("read", told))
    return tuned


def _in_letters(instrument: Instrument, names: Sequence[str], *, own: bool) -> list[Pitch]:
    """Open strings in letters, string 1 first; low to high as spoken unless that lies far off."""
    if own:
        return [Pitch.parse(name) for name in reversed(names)]
    if len(names) != len(instrument.strings):
        raise ScoreFileError(
            f"it names {len(names)} strings, the {instrument.name} has {len(instrument.strings)}"
        )
    kin = list(_family(instrument.name.split("-")[0]))
    letters = [name.upper() for name in names]
    for order in (letters, letters[::-1]):
        for made in kin if not _pitched(names) else ():
            if [string.open.name.upper() for string in reversed(made.strings)] == order:
                return [string.open for string in made.strings]
    tries = []
    for way in (names[::-1], names):
        spelled = list(way) if _pitched(way) else _nearest(way, instrument)
        pitches = [Pitch.parse(name[0].upper() + name[1:]) for name in spelled]
        usual = [string.open.midi for string in instrument.strings]
        far = sum(abs(p.midi - midi) for p, midi in zip(pitches, usual, strict=True))
        tries.append((far, pitches))
    return min(tries, key=lambda pair: pair[0])[1]


def _as_named(
    instrument: Instrument, names: Sequence[str], words: TuningWords
) -> list[Pitch] | None:
    """The usual strings changed, if the names of the strings say so too."""
    for usual in _family(instrument.name.split("-")[0]):
        if len(usual.strings) == len(instrument.strings):
            pitches = _changed(usual, words)
            letters = [pitch.name.upper() for pitch in pitches]
            named = [re.sub(r"\d", "", name).upper() for name in names]
            return pitches if letters in (named, named[::-1]) else None
    return None


def _one_string(instrument: Instrument, name: str, to: str) -> list[Pitch]:
    """Open strings, the lowest of a name tuned to the nearest pitch of another."""
    pitches = [string.open for string in instrument.strings]
    found = [index for index, pitch in enumerate(pitches) if pitch.name == name]
    if not found:
        raise ScoreFileError(f"the {instrument.name} has no string {name}")
    low = min(found, key=lambda index: pitches[index].midi)
    tries = [Pitch.parse(f"{to}{octave}") for octave in range(9)]
    pitches[low] = min(tries, key=lambda pitch: abs(pitch.midi - pitches[low].midi))
    return pitches


_LOWEST_SHIFT = 7


def _changed(instrument: Instrument, words: TuningWords) -> list[Pitch]:
    """The usual strings moved, the lowest perhaps a whole step more; string 1 first."""
    usual = [string.open.midi for string in instrument.strings]
    low = min(range(len(usual)), key=lambda index: usual[index])
    steps = words.steps
    if words.lowest:
        wanted = Pitch.parse(f"{words.lowest}4").midi
        base = usual[low] - 2 * words.drop
        ways = [step for step in range(-_LOWEST_SHIFT, 4) if (base + step - wanted) % 12 == 0]
        if not ways:
            raise ScoreFileError(f"{words.lowest} lies far from the lowest string")
        steps = min(ways, key=abs)
    midi = [sound + steps for sound in usual]
    midi[low] -= 2 * words.drop
    return [_spelled(sound, words.lowest or _USUAL[midi[low] % 12]) for sound in midi]


_USUAL = "C C# D Eb E F F# G Ab A Bb B".split()  # noqa: SIM905
"""What a lowest string is usually called; the others follow its signs."""


def _spelled(midi: int, lowest: str) -> Pitch:
    flat = lowest in ("Db", "Eb", "F", "Gb", "Ab", "Bb", "C")
    letters = "C Db D Eb E F Gb G Ab A Bb B" if flat else "C C# D D# E F F# G G# A A# B"
    return Pitch.parse(f"{letters.split()[midi % 12]}{midi // 12 - 1}")
