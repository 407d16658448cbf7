"""Fit the weights of :mod:`fretpath.music.keyfinding` on half of the tunes; try the other half.

    python -m tests.benchmarks.fit_key_finding [--every N]

Tunes: the three fiddle books of :mod:`tests.benchmarks.tune_books` (tonic and mode of the editor)
and music21's Essen files without the Chinese ones (their K: field is the tonic; the third that
sounds longer is taken for the mode's, and any mode with that third counts as right).  All are read
from the installed package with a small reader of ABC notes, since only sounds and lengths count.

The weights are those of greatest likelihood with a small pull to nought, bounded so that the tonic
weighs most.  Rare modes count more (Mixolydian 4.5, Dorian 2.7, Lydian and Phrygian 9) and Essen
tunes less (0.4), so that neither is drowned; the result is made a tenth less sure, which is what
the other half asked for.  Prints the tables of ``keyfinding`` and the share right on both halves.
"""

from __future__ import annotations

import argparse
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from fretpath import SCALES, Key
from tests.benchmarks.tune_books import labels

Floats = NDArray[np.float64]
MODES = ("major", "mixolydian", "natural minor", "dorian", "lydian", "phrygian")
TABLE = (0, 1, 2, 3, 0, 2)
SWAPS: tuple[tuple[int, int] | None, ...] = (None, None, None, None, (5, 6), (1, 2))
THIRDS = tuple(3 if "b3" in SCALES[mode].names else 4 for mode in MODES)
RARE = {"mixolydian": 4.5, "dorian": 2.7, "lydian": 9.0, "phrygian": 9.0}
ESSEN, COOLER = 0.4, 0.9
_NOTE = re.compile(r"(\^{1,2}|_{1,2}|=)?([A-Ga-gz])([,']*)(\d*)(/*)(\d*)(-?)|\|")
_ALTERS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}
_TURN = (np.arange(12)[:, None] + np.arange(12)) % 12


@dataclass(frozen=True)
class Piece:
    """Sounds and lengths of a tune, and what counts as right."""

    sounds: tuple[int, ...]
    lengths: tuple[float, ...]
    tonic: int
    mode: str

    @cached_property
    def modes(self) -> list[int]:
        """Numbers of the modes that are right: the editor's, or all with the longer third."""
        if self.mode:
            return [MODES.index(self.mode)]
        heard = self.heard(1.0)
        minor, major = heard[(self.tonic + 3) % 12], heard[(self.tonic + 4) % 12]
        return [m for m, third in enumerate(THIRDS) if (third == 3) == (minor > major)]

    def heard(self, unit: float) -> Floats:
        """How long each of the twelve sounds."""
        lengths = np.array(self.lengths) / unit
        return np.asarray(np.bincount(self.sounds, lengths, 12), dtype=np.float64)

    @property
    def evidence(self) -> Floats:
        """As in keyfinding: logarithms, in notes of the commonest length."""
        counts = Counter(self.lengths)
        return np.log1p(self.heard(min(counts, key=lambda size: (-counts[size], size))))


def notes_of(text: str, key: Key) -> Iterator[tuple[int, float]]:
    """Pitch class and length in quarters of each note of an ABC tune; tuplets are passed over."""
    field = re.search(r"(?m)^L:\s*1/(\d+)", text)
    unit = 4 / int(field[1]) if field else 0.5
    body = re.split(r"(?m)^K:.*$", text, maxsplit=1)[1]
    body = re.sub(r"(?m)^[A-Za-z]:.*$", "", body)
    body = re.sub(r'"[^"]*"|\{[^}]*\}|%.*|![^!]*!', "", body)
    signature = dict.fromkeys("CDEFGAB", 0)
    for sign in range(abs(key.signature)):
        signature["FCGDAEB"[sign if key.signature > 0 else 6 - sign]] = np.sign(key.signature)
    bar: dict[tuple[str, str], int] = {}
    for match in _NOTE.finditer(body):
        if match[0] == "|":
            bar = {}
            continue
        mark, letter, octave, whole, slashes, part, _ = match.groups()
        if letter == "z":
            continue
        if mark:
            bar[letter, octave] = _ALTERS[mark]
        alter = bar.get((letter, octave), signature[letter.upper()])
        natural = (0, 2, 4, 5, 7, 9, 11)["CDEFGAB".index(letter.upper())]
        parts = int(part) if part else 2 ** len(slashes)
        yield int(natural + alter) % 12, unit * int(whole or 1) / max(parts, 1)


def piece(text: str, key: Key, mode: str) -> Piece | None:
    """A tune as it counts here; None under 8 notes."""
    notes = list(notes_of(text, key))
    if len(notes) < 8:
        return None
    sounds, lengths = zip(*notes, strict=True)
    return Piece(sounds, lengths, key.tonic_pitch(0).midi % 12, mode)


def essen() -> Iterator[Piece | None]:
    """European tunes of music21's Essen files; the K: field has the tonic."""
    from music21 import corpus

    for path in sorted(p for p in corpus.getCorePaths() if p.parent.name == "essenFolksong"):
        if re.match(r"han|test|variant", path.stem):
            continue
        text = path.read_text(encoding="utf-8", errors="replace")
        for tune in re.split(r"(?m)^(?=X:)", text)[1:]:
            field = re.search(r"(?m)^K:\s*([A-G][b#]?)\s*$", tune)
            if field:
                yield piece(tune, Key(field[1], "major"), "")


def columns(pieces: list[Piece]) -> tuple[Floats, Floats, Floats]:
    """Evidence by tonic and degree, signs of the first and last note, and what is right (0)."""
    turned = np.array([p.evidence[_TURN] for p in pieces])
    last = (np.array([p.sounds[-1] for p in pieces])[:, None] - np.arange(12)) % 12
    first = (np.array([p.sounds[0] for p in pieces])[:, None] - np.arange(12)) % 12
    signs = np.stack(
        [
            np.stack([last == 0, last == third, first == 0, first == third, first == 7], 2)
            for third in THIRDS
        ],
        2,
    )
    right = np.full((len(pieces), 12, len(MODES)), -np.inf)
    for number, p in enumerate(pieces):
        right[number, p.tonic, p.modes] = 0
    return turned, signs.astype(np.float64), right


def order(mode: int) -> list[int]:
    """Which weight of its table each sound of a mode takes."""
    sounds = list(range(12))
    if swap := SWAPS[mode]:
        sounds[swap[0]], sounds[swap[1]] = swap[1], swap[0]
    return sounds


def scores(weights: Floats, turned: Floats, signs: Floats) -> Floats:
    """Evidence of every tonic and mode."""
    table = np.zeros((4, 12))
    table[:, 1:] = weights[:44].reshape(4, 11)
    by_mode = [turned @ table[TABLE[m]][order(m)] for m in range(len(MODES))]
    return np.asarray(np.stack(by_mode, 2) + signs @ weights[44:49] + weights[49:])


def total(values: Floats) -> Floats:
    """Logarithm of the sum of exponentials over tonics and modes."""
    most = values.max((1, 2), keepdims=True)
    return np.asarray((most + np.log(np.exp(values - most).sum((1, 2), keepdims=True)))[:, 0, 0])


def fit(pieces: list[Piece]) -> Floats:
    """Weights of greatest likelihood."""
    turned, signs, right = columns(pieces)
    counts = np.array([RARE.get(p.mode, 1.0 if p.mode else ESSEN) for p in pieces])
    pull = np.concatenate([np.full(44, 0.12), np.full(5, 0.6), np.full(6, 2.0)])

    def loss(weights: Floats) -> tuple[float, Floats]:
        values = scores(weights, turned, signs)
        everything, wanted = total(values), total(values + right)
        share = np.exp(values - everything[:, None, None])
        own = np.exp(values + right - wanted[:, None, None])
        slope = (share - own) * counts[:, None, None]
        table = np.zeros((4, 12))
        for m in range(len(MODES)):
            table[TABLE[m]][order(m)] += np.einsum("nt,ntd->d", slope[:, :, m], turned)
        steps = [table[:, 1:].ravel(), np.einsum("ntm,ntmk->k", slope, signs), slope.sum((0, 1))]
        value = ((everything - wanted) * counts).sum() + (pull * weights**2).sum()
        return float(value), np.concatenate(steps) + 2 * pull * weights

    bounds = [(None, 0.0)] * 44 + [(0.0, None)] * 5 + [(None, None)] * 6
    found = minimize(loss, np.zeros(55), jac=True, method="L-BFGS-B", bounds=bounds)
    return np.asarray(found.x * COOLER)


def share_right(weights: Floats, pieces: list[Piece]) -> str:
    """Percent of tunes with the right tonic and third."""
    turned, signs, _ = columns(pieces)
    values = scores(weights, turned, signs)
    odds = np.exp(values - total(values)[:, None, None])
    minor = np.array(THIRDS) == 3
    both = np.stack([odds[:, :, ~minor].sum(2), odds[:, :, minor].sum(2)], 2).reshape(-1, 24)
    wanted = [2 * p.tonic + int(THIRDS[p.modes[0]] == 3) for p in pieces]
    right = both.argmax(1) == np.array(wanted)
    sure = both.max(1) >= 0.9
    return (
        f"{len(pieces)} tunes, {100 * right.mean():.1f} % right; "
        f"{100 * right[sure].mean():.1f} % of the {sure.sum()} with a confidence of .9 or more"
    )


def main() -> None:
    """Print the weights and how they do."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=1, help="only every N-th tune")
    every = parser.parse_args().every
    fiddle = [piece(label.text, Key(label.tonic, label.mode), label.mode) for label in labels()]
    groups = {
        "fiddle books": [p for p in fiddle if p][::every],
        "Essen": [p for p in essen() if p][::every],
    }
    weights = fit([p for pieces in groups.values() for p in pieces[0::2]])
    for mode, row in zip(MODES, weights[:44].reshape(4, 11), strict=False):
        print(f"{mode:<14}  0.00 " + " ".join(f"{weight:.2f}" for weight in row))
    print("last on 1, 3; first on 1, 3, 5:", " ".join(f"{w:.2f}" for w in weights[44:49]))
    print("modes:", ", ".join(f"{m} {w:.2f}" for m, w in zip(MODES, weights[49:], strict=True)))
    for name, pieces in groups.items():
        print(f"{name}, fitted on: {share_right(weights, pieces[0::2])}")
        print(f"{name}, the others: {share_right(weights, pieces[1::2])}")


if __name__ == "__main__":
    main()
