"""Where a jotted text may mean two things: counts, commas, octaves, degrees of a minor key.

Each question shows both readings and how to write each; where one is far likelier it is taken, and
that is told.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from fretpath.music.draft import Draft, JottedLine, degrees_in, stated_key
from fretpath.music.key import Degree
from fretpath.music.scribbles import Habits
from fretpath.music.text import EVENT

_HIGHEST = 29
"""A number above it is no degree: four octaves."""


def take_counts(draft: Draft) -> None:
    """Take lines of counts off the melody; ask where they may be music."""
    pairs = [
        (above, row)
        for above, row in pairwise(draft.rows)
        if above.kind == row.kind == "music"
        and above.text.split() != row.text.split()
        and _is_count(row.text, draft)
    ]
    counted = [row for _, row in pairs if re.search(r"[&+]|\band\b", row.text)]
    plain = [(above, row) for above, row in pairs if row not in counted]
    music = [row for row in draft.music() if row not in [count for _, count in pairs]]
    if len(plain) > 1 and len(plain) == len(music):
        counted += [row for _, row in plain]
    elif plain:
        _ask_counts(draft, *plain[0])
    for above, row in pairs:
        if row in counted:
            draft.tell("read", f"a line of counts, no notes: {row.text.strip()[:40]}", row.number)
            timed = replace(above, text=_timed(above.text, row.text, draft))
            draft.rows[draft.rows.index(above)] = timed
    draft.rows = [row for row in draft.rows if row not in counted]


def _is_count(text: str, draft: Draft) -> bool:
    """Whether a line counts 1 2 3 4, perhaps with ``&`` between, and holds nothing else."""
    words = text.split()
    numbers = [int(word) for word in words if re.fullmatch(r"[1-9]", word)]
    others = {word for word in words if not re.fullmatch(r"[1-9]", word)}
    if not others.issubset({"&", "+", "and", "e", "a"}) or len(numbers) < 2 or numbers[0] != 1:
        return False
    ands = bool(others & {"&", "+", "and"})
    top = max(numbers)
    usual = top in (3, 4, 6) if draft.beats() is None else top == draft.beats()
    steps = list(pairwise(numbers))
    cycle = all(b == a + 1 or (b == 1 and a == top) for a, b in steps)
    rising = all(b > a or b == 1 for a, b in steps)
    return (ands and rising) or (usual and cycle and numbers[-1] == top and not others)


def _ask_counts(draft: Draft, above: JottedLine, row: JottedLine) -> None:
    notes = [word for word in above.text.split() if word != "|"]
    if len(notes) != len(row.text.split()):
        return
    raise draft.ask(
        f'"{row.text.strip()[:40]}": counts under the notes, or a second line of the tune?',
        row.number,
        ("counts", f"{above.text.strip()}\n; {row.text.strip()}"),
        ("a second line", f"{above.text.strip()} |\n{row.text.strip()} |"),
    )


def _timed(text: str, counts: str, draft: Draft) -> str:
    """A line of notes with the lengths that the counts under them give."""
    words, beats = text.split(), draft.beats()
    notes = [word for word in words if word != "|"]
    places = _count_places(counts.split(), beats)
    if beats is None or len(places) != len(notes) or not all(map(EVENT.fullmatch, notes)):
        return text
    places.append(-(-(places[-1] + Fraction(1, 4)) // beats) * beats)
    lengths = iter([b - a for a, b in pairwise(places)])
    return " ".join(w if w == "|" else f"{w}:{next(lengths)}".removesuffix(":1") for w in words)


def _count_places(counts: Sequence[str], beats: Fraction | None) -> list[Fraction]:
    parts = {"&": Fraction(1, 2), "+": Fraction(1, 2), "and": Fraction(1, 2)}
    parts |= {"e": Fraction(1, 4), "a": Fraction(3, 4)}
    places: list[Fraction] = []
    bar, number = Fraction(0), 0
    for word in counts:
        if word.isdigit():
            if int(word) <= number and beats:
                bar += beats
            number = int(word)
        places.append(bar + number - 1 + parts.get(word, 0))
    return places


# -- numbers and letters that may be something else ----------------------------------------------


def ask_brackets(draft: Draft) -> None:
    """Numbers in brackets behind notes: lengths where each note has one, else ask."""
    pattern = re.compile(r"(?<=[\w#,'])\s+\((\d(?:/\d)?)\)")
    for at, row in enumerate(draft.rows):
        found = pattern.findall(row.text) if row.kind == "music" else []
        if not found:
            continue
        timed = pattern.sub(r":\1", row.text)
        notes = [word for word in pattern.sub("", row.text).split() if word != "|"]
        if len(found) < len(notes):
            raise draft.ask(
                f'"({found[0]})": a note in brackets, or the length of the note before it?',
                row.number,
                ("a note", pattern.sub(r" \1", row.text).strip()),
                ("beats", timed.strip()),
            )
        draft.tell("read", "numbers in brackets are beats", row.number)
        draft.rows[at] = replace(row, text=timed)


def ask_numbers(draft: Draft) -> None:
    """Numbers that jump: two degrees run together, or one high degree; and numbers too high."""
    degrees = degrees_in(draft)
    numbers = [int(re.sub(r"\D", "", degree)) for _, _, degree in degrees]
    for at, (row, _, degree) in enumerate(degrees):
        if numbers[at] > _HIGHEST:
            _ask_tempo(draft, row, degree)
        beside = [numbers[i] for i in (at - 1, at + 1) if 0 <= i < len(numbers)]
        digits = re.fullmatch(r"1[1-5]", degree)
        if (
            digits
            and len(numbers) > 2
            and not {8, 9, 10} & set(numbers)
            and any(numbers[at] - n > 7 for n in beside)
        ):
            body = "\n".join(" ".join(r.words) for r in draft.music())
            raise draft.ask(
                f"{degree}: the degrees {degree[0]} and {degree[1]}, or degree {degree} in the "
                "octave above?",
                draft.rows[row].number,
                (
                    f"{degree[0]} and {degree[1]}",
                    re.sub(r"(?<!\S)(1)([1-5])(?!\S)", r"\1 \2", body),
                ),
                (f"degree {degree}", f"degrees: major\n\n{body}"),
            )


def _ask_tempo(draft: Draft, row: int, degree: str) -> None:
    rest = " ".join(word for r in draft.music() for word in r.words if word != degree)
    raise draft.ask(
        f"{degree} is too high for a degree: is it the tempo?",
        draft.rows[row].number,
        ("the tempo", f"tempo: {degree}\n\n{rest}"),
        ("something else", f"; {degree}\n{rest}"),
    )


def ask_letters(draft: Draft) -> None:
    """Capital letters among degrees: a key, chords, a flat sign, or notes."""
    degrees = degrees_in(draft)
    letters = [
        (at, place, word)
        for at, row in enumerate(draft.rows)
        for place, word in enumerate(row.words)
        if re.fullmatch(r"[A-G][#b]?(?::.*)?|B[2-7]", word)
    ]
    if len(degrees) < 2 or not letters:
        return
    row, place, first = letters[0]
    flats_meant = all(re.fullmatch("B[2-7]", word) for _, _, word in letters)
    together = any(a[0] == b[0] and b[1] == a[1] + 1 for a, b in pairwise(letters))
    if not flats_meant and (place or together):
        return
    words = list(draft.rows[row].words)
    plain = " ".join(w for at, w in enumerate(words) if (row, at, w) not in letters)
    plain = re.sub(r"\|(?: \|)+", "|", plain).removeprefix("| ")
    notes = " ".join(f"{w}4" if re.fullmatch(r"[A-G][#b]?", w) else w for w in words)
    if flats_meant:
        flats = " ".join(f"b{w[1:]}" if re.fullmatch("B[2-7]", w) else w for w in words)
        readings = (f"the degree b{first[1:]}", flats), ("the note", f"degrees: major\n\n{notes}")
    elif place == 0 and len(letters) == 1 and "key" not in draft.heads:
        readings = ("the key", f"key: {first}\n\n{plain}"), ("a note", notes)
    else:
        readings = ("chord names, left out", plain), ("notes", notes)
    kinds = " or ".join(name.removesuffix(", left out") for name, _ in readings)
    raise draft.ask(f"{first} among degrees: {kinds}?", draft.rows[row].number, *readings)


# -- commas and octaves --------------------------------------------------------------------------


def sure_of_commas(draft: Draft, lines: Sequence[str], habits: Habits) -> Habits:
    """Ask where commas behind the numbers make the smoother line as octaves down."""
    words = [word for line in lines for word in line.split() if re.fullmatch(r"[#b]*\d[,]?", word)]
    if not any(word.endswith(",") for word in words):
        return habits
    low = [Degree.parse(word).steps for word in words if word[-1] != "0"]
    plain = [Degree.parse(word.rstrip(",")).steps for word in words if word[-1] != "0"]
    number = draft.music()[0].number
    separate = " ".join(word.rstrip(",") for word in words)
    if habits.commas and _widest(low) < _widest(plain) - 2:
        raise draft.ask(
            "do the commas separate the notes, or mean the octave below?",
            number,
            ("the commas separate", separate),
            ("an octave down", f"octave: 3 free\n\n{' '.join(words)}"),
        )
    several = sum(word.endswith(",") for word in words[:-1]) > 1 and words[-1][-1] != ","
    if not habits.commas and several and _widest(low) > 7 and _widest(plain) < 7:
        raise draft.ask(
            "do the commas separate the phrases, or mean the octave below?",
            number,
            ("the commas separate", separate),
            ("an octave down", f"octave: 3 free\n\n{' '.join(words)}"),
        )
    return habits


def _widest(steps: Sequence[int]) -> int:
    return max((abs(b - a) for a, b in pairwise(steps)), default=0)


def check_octaves(draft: Draft) -> None:
    """A line that rises over 7 goes on to the octave; one that falls below 1 must say so."""
    degrees = degrees_in(draft)
    if any(re.search(r"[,']|[89]|\d\d", degree) for _, _, degree in degrees):
        return
    numbers = [int(degree.strip("#b")) for _, _, degree in degrees]
    up = False
    for at, (row, place, degree) in enumerate(degrees):
        number = numbers[at]
        before = numbers[at - 1] if at else 0
        if number == 7 and before == 1 and not up and (at < 2 or numbers[at - 2] != 7):
            _ask_leading_note(draft, row, place)
        rising = number == 1 and before == 7 and at > 1 and numbers[at - 2] in (4, 5, 6)
        up = rising or (up and number <= 4 and abs(number - before) <= 1)
        if up:
            _lift(draft, row, place, degree)


def _lift(draft: Draft, row: int, place: int, degree: str) -> None:
    words = list(draft.rows[row].words)
    words[place] = words[place].replace(degree, degree + "'", 1)
    draft.rows[row] = replace(draft.rows[row], words=tuple(words))
    number = draft.rows[row].number
    draft.tell("read", "the 1 after 7 is the octave above, 8 (or 1')", number)


def _ask_leading_note(draft: Draft, row: int, place: int) -> None:
    words = list(draft.rows[row].words)
    below = [*words[:place], words[place].replace("7", "7,", 1), *words[place + 1 :]]
    raise draft.ask(
        "the 7 after 1: the note just below, or a seventh up?",
        draft.rows[row].number,
        ("the note below (an octave down)", " ".join(below)),
        ("a seventh up", f"degrees: major\n\n{' '.join(words)}"),
    )


def check_minor(draft: Draft) -> None:
    """Degrees in a key with lowered degrees: those of the key, or of the major scale?"""
    key = stated_key(draft)
    if key is None:
        return
    lowered = {d.number: str(d) for d in key.scale.degrees if d.alter}
    degrees = [Degree.parse(degree) for _, _, degree in degrees_in(draft)]
    doubtful = sorted({d.number for d in degrees if d.alter == 0 and d.number in lowered})
    if not doubtful or any(d.alter for d in degrees):
        return
    number = doubtful[0]
    body = "\n".join(" ".join(row.words) for row in draft.music())
    flat = lowered[number]
    own = key.tonic_pitch(4) + Degree.parse(flat).interval
    major = key.tonic_pitch(4) + Degree.parse(str(number)).interval
    raise draft.ask(
        f"{number} in {key}: {own.name}, the degree {flat} of the key, or {major.name}, counted "
        "against the major scale?",
        draft.music()[0].number,
        (f"{own.name}, degrees of the key ({flat})", f"key: {key}\ndegrees: key\n\n{body}"),
        (f"{major.name}, degrees of the major scale", f"key: {key}\ndegrees: major\n\n{body}"),
    )
