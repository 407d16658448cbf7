"""What a teacher says of each note outside the scale, against our accounts, note by note.

``tests/data/accounts.json`` holds invented tunes in minimal pairs, with the account a teacher gives
of every note outside the scale (common practice, from memory, written before anything was run):
``account`` is the answer, ``also_ok`` what a good teacher lets pass, ``either`` two answers an
honest page names both; a section has first and last bars, or other bounds that pass.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from fretpath import Account, Melody, parse_melody, read_scales
from fretpath.music.keyfinding import find_key, in_key

TUNES = json.loads((Path(__file__).parents[1] / "data" / "accounts.json").read_text())
LEAST_RIGHT = 100
"""Of 111 notes."""

_MODES = {"natural minor": "minor"}


@dataclass(frozen=True)
class Answer:
    """Our account of one note beside the expected one."""

    tune: int
    note: int
    expected: str
    ours: str
    verdict: str


def heard(text: str) -> Melody:
    """The tune in its stated key, or in the one its notes say."""
    melody = parse_melody(text)
    return melody if melody.keys else in_key(melody, find_key(melody).key)


def words(kind: str, argument: str, melody: Melody) -> str:
    """An account in the words of the labels."""
    kind = "neighbour" if kind == "neighbor" else kind
    if kind == "wrong_key":
        tonic, mode = argument.split()
        degree = next(d for d in (melody.degrees) if d and d.plain == tonic)
        pitch = melody.pitches[melody.degrees.index(degree)]
        return f"wrong_key:{pitch.name} {mode}"
    if kind in ("mode", "leading", "applied7", "parallel", "modulation"):
        return f"{kind}:{_MODES.get(argument, argument)}"
    return kind


def verdict(account: Account, expected: dict[str, Any], melody: Melody) -> str:
    """Right, acceptable or wrong, by the rules beside the labels."""
    ours = words(account.kind, account.argument, melody)
    doubts = {words(doubt.kind, doubt.argument, melody) for doubt in account.doubts}
    if "either" in expected:
        if set(expected["either"]) <= {ours, *doubts}:
            return "right"
        return "acceptable" if ours in (expected["account"], *expected["also_ok"]) else "wrong"
    sections = [expected.get("section"), *expected.get("section_ok", [])]
    if ours == expected["account"]:
        placed = "section" not in expected or list(account.bars or ()) in sections
        return "right" if placed else "acceptable"
    return "acceptable" if ours in expected["also_ok"] else "wrong"


def answers() -> Iterator[Answer]:
    """Every labelled note with our account of it."""
    for tune in TUNES:
        melody = heard(tune["text"])
        accounts = [account for reading in read_scales(melody) for account in reading.accounts]
        by_note = {note + 1: account for account in accounts for note in account.notes}
        for expected in tune["expected"]:
            for note in expected["notes"]:
                account = by_note.get(note)
                ours = words(account.kind, account.argument, melody) if account else "none"
                told = verdict(account, expected, melody) if account else "wrong"
                yield Answer(tune["id"], note, expected["account"], ours, told)


def test_most_notes_are_accounted_for_as_a_teacher_does() -> None:
    found = list(answers())
    assert len(found) == 111
    missed = [answer for answer in found if answer.verdict != "right"]
    counts = Counter(answer.verdict for answer in found)
    assert counts["right"] >= LEAST_RIGHT, missed


@pytest.mark.parametrize("tune", TUNES, ids=lambda tune: str(tune["id"]))
def test_no_tune_has_an_account_it_must_not_have(tune: dict[str, Any]) -> None:
    """A bare word among those barred bars it with any argument."""
    melody = heard(tune["text"])
    barred = {note: e["not_ok"] for e in tune["expected"] for note in e["notes"]}
    for reading in read_scales(melody):
        for account in reading.accounts:
            ours = words(account.kind, account.argument, melody)
            for note in account.notes:
                assert not {ours, ours.split(":")[0]} & set(barred.get(note + 1, ()))
