"""Print how often the key found is the key an editor wrote, beside music21's answers.

    python -m tests.benchmarks.key_finding [--every N]

All tunes of 8 notes or more in the tune books (:mod:`tests.benchmarks.tune_books`).  Right means:
the same tonic, and a mode with the same third (a Dorian tune is right as minor).  music21's own
``analyze('key')`` runs on the very same streams.  Takes about five minutes; ``--every 10`` is a
sample.
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from typing import Any

from fretpath import Key
from fretpath.music.keyfinding import KeyGuess, find_key
from tests.benchmarks.tune_books import BOOKS, Label, labels, melody_of, parsed

METHODS = ("ours", "music21 analyze('key')", "music21 Krumhansl")
LENGTHS = (8, 12, 16, 24, 32, 48)


@dataclass(frozen=True)
class Result:
    """One tune, and which methods had it right."""

    label: Label
    right: dict[str, bool]
    confidence: float
    exact: tuple[bool, ...]
    runner_up: bool
    early: dict[int, bool]


def sound(tonic: str) -> int:
    """Pitch class of a tonic."""
    return Key(tonic.replace("-", "b"), "major").tonic_pitch(4).midi % 12


def is_right(label: Label, tonic: str, minor: bool) -> bool:
    """Same tonic in sound, same third."""
    return sound(tonic) == sound(label.tonic) and minor == label.minor


def ours(label: Label, guess: KeyGuess, *, rank: int = 0) -> bool:
    """Whether our candidate of that rank is the label."""
    key = guess.candidates[rank].key
    return is_right(label, key.tonic, "b3" in key.scale.names)


def ranks(label: Label, guess: KeyGuess) -> tuple[bool, ...]:
    """Whether the first, and the second, candidate has the tonic and the mode of the label."""
    return tuple(
        sound(c.key.tonic) == sound(label.tonic) and c.key.mode == label.mode
        for c in guess.candidates[:2]
    )


def theirs(label: Label, stream: Any, method: str) -> bool:
    """music21's answer."""
    key = stream.analyze(method)
    return is_right(label, key.tonic.name, key.mode == "minor")


def result(label: Label) -> Result | None:
    """Every method on one tune; None for a tune of under 8 notes."""
    stream = parsed(label)
    melody = melody_of(stream)
    if len(melody.notes) < 8:
        return None
    guess = find_key(melody)
    return Result(
        label=label,
        right={
            "ours": ours(label, guess),
            "music21 analyze('key')": theirs(label, stream, "key"),
            "music21 Krumhansl": theirs(label, stream, "KrumhanslSchmuckler"),
        },
        confidence=guess.confidence,
        exact=ranks(label, guess),
        runner_up=ours(label, guess, rank=1),
        early={
            n: ours(label, find_key(replace(melody, notes=melody.notes[:n])))
            for n in LENGTHS
            if n < len(melody.notes)
        },
    )


def percent(values: list[bool]) -> str:
    """Share of the true ones."""
    return f"{100 * sum(values) / len(values):5.1f}" if values else "    -"


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=1, help="only every N-th tune")
    every = parser.parse_args().every
    found = [r for r in map(result, list(labels())[::every]) if r]
    groups = {book: [r for r in found if r.label.book == book] for book in BOOKS}
    groups["major"] = [r for r in found if r.label.mode == "major"]
    groups["natural minor"] = [r for r in found if r.label.mode == "natural minor"]
    groups["other modes"] = [r for r in found if r.label.mode not in ("major", "natural minor")]
    groups["all"] = found
    print(f"{'percent right':<24}" + "".join(f"{name:>14}" for name in groups))
    print(f"{'tunes':<24}" + "".join(f"{len(rs):>14}" for rs in groups.values()))
    for method in METHODS:
        row = [percent([r.right[method] for r in rs]) for rs in groups.values()]
        print(f"{method:<24}" + "".join(f"{cell:>14}" for cell in row))
    wrong = [r for r in found if not r.right["ours"]]
    print(f"\nof {len(wrong)} misses the runner-up is right in {sum(r.runner_up for r in wrong)}")
    print("\nfirst notes   " + "".join(f"{n:>8}" for n in LENGTHS))
    early = [percent([r.early[n] for r in found if n in r.early]) for n in LENGTHS]
    print("percent right " + "".join(f"{cell:>8}" for cell in early))
    _print_modes(found)
    _print_confidence(found[1::2])


def _print_modes(found: list[Result]) -> None:
    """Tonic and mode as the editor has them."""
    print(f"\n{'tonic and mode':<16}{'tunes':>6}{'first':>7}{'first two':>11}{'tonic':>7}")
    for mode in dict.fromkeys(r.label.mode for r in found):
        rs = [r for r in found if r.label.mode == mode]
        first, both = sum(r.exact[0] for r in rs), sum(any(r.exact) for r in rs)
        print(f"{mode:<16}{len(rs):>6}{first:>7}{both:>11}{sum(r.right['ours'] for r in rs):>7}")


def _print_confidence(found: list[Result]) -> None:
    """What a confidence was worth, on every second tune (it was fitted on the others)."""
    bins: dict[int, list[bool]] = defaultdict(list)
    for r in found:
        bins[min(int(r.confidence * 10), 9)].append(r.right["ours"])
    counts = Counter({at: len(values) for at, values in bins.items()})
    print("\nconfidence    " + "".join(f"{at / 10:>8}+" for at in sorted(bins)))
    print("percent right " + "".join(f"{percent(bins[at]):>9}" for at in sorted(bins)))
    print("tunes         " + "".join(f"{counts[at]:>9}" for at in sorted(bins)))


if __name__ == "__main__":
    main()
