"""What commands do with a melody of letters that has no key: find it, say so, and ask if unsure."""

from __future__ import annotations

from fretpath.music.keyfinding import KeyGuess, find_key, in_key
from fretpath.music.melody import Melody


def with_found_key(melody: Melody) -> tuple[Melody, KeyGuess | None]:
    """The melody; and if it has no key, what its notes say, used where they are enough.

    A caller must show the guess (:func:`fretpath.page.spelling.guess_lines`).
    """
    if melody.keys or not melody.pitches:
        return melody, None
    guess = find_key(melody)
    return (in_key(melody, guess.key) if guess.enough else melody), guess
