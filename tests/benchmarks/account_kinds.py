"""Print how many tunes of the tune books hold each kind of account: a measure of false alarms.

    python -m tests.benchmarks.account_kinds [--every N] [--show KIND ...]

Tunes that their editor labelled plain major or minor (:mod:`tests.benchmarks.tune_books`) are read
in the editor's key, with their bars.  A wrong key, another mode, a modulation or a parallel section
in such a tune is a false alarm unless the notes bear it out: ``--show modulation`` prints them.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from typing import Any

from fretpath import Key, Melody, read_scales
from tests.benchmarks.tune_books import Label, labels, melody_of, parsed


def barred(stream: Any) -> Melody:
    """The melody of a stream, with the bars of its score."""
    melody = melody_of(stream)
    heard = [
        n.measureNumber
        for n in stream.flatten().notes
        if n.isNote and n.quarterLength > 0 and n.pitch.octave is not None
    ]
    bars = [at for at, (one, other) in enumerate(pairwise(heard), start=1) if one != other]
    return replace(melody, bars=tuple(bars))


def keyed(label: Label) -> Melody:
    """A labelled tune in its editor's key."""
    return replace(barred(parsed(label)), keys=((0, Key(label.tonic, label.mode)),))


def main() -> None:
    """Print tunes a kind, for major and for minor, and the accounts asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=8)
    parser.add_argument("--show", nargs="*", default=[])
    arguments = parser.parse_args()
    tunes, kinds = Counter[str](), Counter[tuple[str, str]]()
    wanted = labels(lambda label: label.mode in ("major", "natural minor"))
    for label in list(wanted)[:: arguments.every]:
        melody = keyed(label)
        if not melody.pitches:
            continue
        tunes[label.mode] += 1
        accounts = read_scales(melody)[0].accounts
        kinds.update({(account.kind, label.mode) for account in accounts})
        for account in accounts:
            if account.kind in arguments.show:
                print(f"{label.title[:30]:<30} {label.tonic} {label.mode}: {account.title}")
                print(f"    {account.evidence}")
    print(f"{'tunes':<14}{tunes['major']:>7} major{tunes['natural minor']:>6} minor")
    for kind in sorted({kind for kind, _ in kinds}):
        print(f"{kind:<14}{kinds[kind, 'major']:>7}{kinds[kind, 'natural minor']:>12}")


if __name__ == "__main__":
    main()
