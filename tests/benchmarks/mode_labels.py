"""Print how our reading of the scale agrees with the modes that editors gave to tunes.

    python -m tests.benchmarks.mode_labels [--misses]

Every tune labelled Lydian, Phrygian, Mixolydian or Dorian in the tune books
(:mod:`tests.benchmarks.tune_books`).  We are given the labelled tonic and nothing else: the tune is
taken as major or minor by the third that sounds longer, and read against that.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass, replace
from fractions import Fraction

from fretpath import SCALES, Key, Melody
from fretpath.music.departures import ScaleReading, read_scales
from tests.benchmarks.tune_books import Label, labels, melody_of, parsed

CHARACTERISTIC = {"lydian": "#4", "phrygian": "b2", "mixolydian": "b7", "dorian": "6"}


@dataclass(frozen=True)
class Answer:
    """What we say about one tune."""

    label: Label
    reading: ScaleReading
    degrees: Counter[str]

    @property
    def agrees(self) -> bool:
        """Whether our first mode is the label."""
        return self.reading.modes[0].name == self.label.mode

    @property
    def equal(self) -> bool:
        """Whether the label is among the modes that hold the tune equally well."""
        return any(mode.name == self.label.mode for mode in self.reading.modes)

    @property
    def shown(self) -> bool:
        """Whether the degree that makes the mode is among the departures."""
        mark = CHARACTERISTIC[self.label.mode]
        return any(d.degree.plain == mark for d in self.reading.departures)

    @property
    def sounds(self) -> bool:
        """Whether that degree sounds at all."""
        return self.degrees[CHARACTERISTIC[self.label.mode]] > 0

    @property
    def inside(self) -> int:
        """Notes inside the labelled mode."""
        return sum(self.degrees[d] for d in SCALES[self.label.mode].names)


def answer(label: Label) -> Answer:
    """Our reading of a tune, given its tonic."""
    melody = melody_of(parsed(label))
    keyed = replace(melody, keys=((0, Key(label.tonic, "major")),))
    if _minor_third_prevails(keyed):
        keyed = replace(melody, keys=((0, Key(label.tonic, "natural minor")),))
    degrees = Counter(degree.plain for degree in keyed.degrees if degree)
    return Answer(label, read_scales(keyed)[0], degrees)


def _minor_third_prevails(melody: Melody) -> bool:
    length = {"b3": Fraction(0), "3": Fraction(0)}
    for degree, beats in zip(melody.degrees, melody.lengths, strict=True):
        if degree and degree.plain in length:
            length[degree.plain] += beats
    return length["b3"] > length["3"]


def why_not(found: Answer) -> str:
    """Why our mode is another one than the label."""
    mark = CHARACTERISTIC[found.label.mode]
    own, sounding = SCALES[found.label.mode].names, found.degrees
    rivals = [d for d in sounding if d not in own]
    plain = [d for d in rivals if d.strip("#b") == mark.strip("#b")]
    if not sounding[mark]:
        return f"its {mark} never sounds"
    if plain and sounding[plain[0]] >= sounding[mark]:
        return f"{plain[0]} sounds {sounding[plain[0]]} times against {mark} {sounding[mark]} times"
    if not sounding["3"] and not sounding["b3"]:
        return "no third sounds, so the mode is open"
    if rivals:
        return "other degrees sound: " + ", ".join(f"{d} {sounding[d]} times" for d in rivals)
    return "held equally by other modes"


def main() -> None:
    """Print the table and, if asked, the misses."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--misses", action="store_true")
    misses = parser.parse_args().misses
    found = [answer(label) for label in labels(lambda label: label.mode in CHARACTERISTIC)]
    print("mode        tunes  agree  or equal  degree sounds  in departures  notes inside")
    for mode in CHARACTERISTIC:
        tunes = [a for a in found if a.label.mode == mode]
        total = sum(sum(a.degrees.values()) for a in tunes)
        print(
            f"{mode:<11} {len(tunes):>5} {sum(a.agrees for a in tunes):>6} "
            f"{sum(a.equal for a in tunes):>9} {sum(a.sounds for a in tunes):>14} "
            f"{sum(a.shown for a in tunes):>14} "
            f"{100 * sum(a.inside for a in tunes) / total:>11.1f} %"
        )
    total = sum(sum(a.degrees.values()) for a in found)
    print(
        f"{'all':<11} {len(found):>5} {sum(a.agrees for a in found):>6} "
        f"{sum(a.equal for a in found):>9} {sum(a.sounds for a in found):>14} "
        f"{sum(a.shown for a in found):>14} "
        f"{100 * sum(a.inside for a in found) / total:>11.1f} %"
    )
    wrong = [a for a in found if not a.agrees]
    reasons = Counter(_kind(why_not(a)) for a in wrong)
    print(f"\n{len(wrong)} misses:")
    for reason, count in reasons.most_common():
        print(f"  {count:>3}  {reason}")
    for miss in wrong if misses else []:
        modes = ", ".join(mode.name for mode in miss.reading.modes)
        print(f"  {miss.label.title[:34]:<34} {miss.label.tonic} {miss.label.mode}: ours {modes}")
        print(f"      {why_not(miss)}")


def _kind(reason: str) -> str:
    if " against " in reason:
        return "the plain degree sounds at least as often"
    if reason.startswith("other degrees"):
        return "other degrees outside the label sound"
    return "the degree that makes the mode never sounds" if "never" in reason else reason


if __name__ == "__main__":
    main()
