"""How much time a shift has."""

from __future__ import annotations

from fretpath.music.melody import Melody

__all__ = ["haste_of"]


def haste_of(melody: Melody) -> tuple[tuple[int, int], ...] | None:
    """Nothing is known of the time."""
    del melody
    return None
