"""File name endings of scores; kept apart so that asking costs nothing."""

from __future__ import annotations

from pathlib import PurePath

__all__ = ["KINDS", "ending_of", "is_score_name"]

KINDS = {
    ".musicxml": "MusicXML",
    ".xml": "MusicXML",
    ".mxl": "compressed MusicXML",
    ".mid": "MIDI",
    ".midi": "MIDI",
    ".abc": "ABC",
}
"""Endings of score files, and what each promises."""


def ending_of(name: str) -> str:
    """The ending of a file name in small letters, with its dot."""
    return PurePath(name).suffix.lower()


def is_score_name(name: str) -> bool:
    """Whether a file name ends as a score file does.

    >>> is_score_name("tune.MXL"), is_score_name("1 5 8"), is_score_name("tune.txt")
    (True, False, False)
    """
    return ending_of(name) in KINDS


RECORDINGS = (".wav", ".flac", ".ogg", ".mp3")
"""Endings of sound files that can be heard."""
