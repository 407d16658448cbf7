"""Errors travel: every kind is copied and pickled whole, and carries what a script needs."""

from __future__ import annotations

import copy
import pickle
from collections.abc import Callable, Iterator

import pytest

from fretpath import Key, Melody, Note, Pitch, arrange, parse_melody
from fretpath.errors import (
    AmbiguousTextError,
    FretpathError,
    IncompleteError,
    MelodySyntaxError,
    OutOfRangeError,
)
from fretpath.music.loose import read_loosely


def kinds(kind: type[FretpathError] = FretpathError) -> Iterator[type[FretpathError]]:
    """Every kind of error, the most general first."""
    yield kind
    for below in kind.__subclasses__():
        yield from kinds(below)


WHOLE: dict[type[FretpathError], FretpathError] = {
    MelodySyntaxError: MelodySyntaxError(
        "wrong", source="tune", line=2, column=3, span=1, text="1 2"
    ),
    AmbiguousTextError: AmbiguousTextError(
        "which?", readings=[("one", "1"), ("two", "2")], source="tune", line=1
    ),
    IncompleteError: IncompleteError("some", result="the rest"),
    OutOfRangeError: OutOfRangeError("off", notes=[1, 2], lowest=28, highest=67),
}


@pytest.mark.parametrize("kind", list(kinds()), ids=lambda kind: kind.__name__)
@pytest.mark.parametrize(
    "travel",
    [copy.copy, copy.deepcopy, lambda error: pickle.loads(pickle.dumps(error))],
    ids=["copy", "deepcopy", "pickle"],
)
def test_every_kind_travels_whole(
    kind: type[FretpathError], travel: Callable[[FretpathError], FretpathError]
) -> None:
    error = WHOLE.get(kind) or kind("wrong")
    again = travel(error)
    assert type(again) is kind
    assert (str(again), again.args, vars(again)) == (str(error), error.args, vars(error))


def test_notes_off_the_neck_are_told_as_numbers() -> None:
    with pytest.raises(OutOfRangeError) as caught:
        arrange(parse_melody("E0 C2 C8"), "bass")
    error = caught.value
    assert (error.notes, error.lowest, error.highest) == ((0, 2), 28, 67)


def test_a_fault_and_a_question_carry_their_place() -> None:
    with pytest.raises(MelodySyntaxError) as fault:
        parse_melody("1 2\n3 k9", source="quay")
    assert (fault.value.source, fault.value.line, fault.value.column) == ("quay", 2, 3)
    with pytest.raises(AmbiguousTextError) as question:
        read_loosely("key: Em\n1 3 5")
    assert [what for what, _ in question.value.readings] == [
        "G, degrees of the key (b3)",
        "G#, degrees of the major scale",
    ]


def test_impossible_values_are_errors_of_ours() -> None:
    with pytest.raises(FretpathError):
        Melody(notes=(Note(Pitch.parse("C4")),), keys=((1, Key("C", "major")),))
