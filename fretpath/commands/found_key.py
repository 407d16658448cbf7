"""What commands do about the key: find one that is not given, doubt one that the tune denies."""

from __future__ import annotations

from fretpath.music.departures import read_scales
from fretpath.music.keyfinding import KeyGuess, find_key, in_key
from fretpath.music.melody import Melody
from fretpath.page.departures import key_remarks
from fretpath.remarks import Remark


def with_found_key(melody: Melody) -> tuple[Melody, KeyGuess | None]:
    """The melody; and if it has no key, what its notes say, used where they are enough.

    A caller must show the guess (:func:`fretpath.page.spelling.guess_lines`).
    """
    if melody.keys or not melody.pitches:
        return melody, None
    guess = find_key(melody)
    return (in_key(melody, guess.key) if guess.enough else melody), guess


def key_told(melody: Melody) -> tuple[Melody, list[Remark]]:
    """The melody in the key that its notes say where it has none, and a remark that tells so."""
    keyed, guess = with_found_key(melody)
    if guess is None or not guess.enough:
        return keyed, []
    text = f"no key given: read in {guess.key}, as its {guess.notes} notes say"
    return keyed, [Remark("guessed", text)]


def doubts_of_key(melody: Melody) -> list[Remark]:
    """Remarks a command must make where the tune denies the stated key; mostly nothing."""
    return key_remarks(read_scales(melody)) if melody.keys and melody.pitches else []
