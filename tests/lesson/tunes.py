"""Tunes the lesson tests draw from: degrees, lengths and keys; and shorthands for reading them."""

from __future__ import annotations

from pathlib import Path

from hypothesis import strategies as st

from fretpath import Melody, parse_melody
from fretpath.lesson.tune import Tune, tune_of

KEYS = ("C major", "Bb major", "F# minor", "E phrygian", "D mixolydian", "A harmonic minor")
IN_KEY = ("5,", "6,", "7,", "1", "2", "3", "4", "5", "6", "7", "8", "9", "10")
OFF_KEY = ("#4", "b7", "b3", "b6", "b2", "#1")
LENGTHS = ("", ":2", ":1/2", ":3/2", ":1/3", ":1/4")


def write_tunes(folder: Path, texts: dict[str, str]) -> Path:
    """A folder of melody files; *texts* by file name."""
    folder.mkdir(exist_ok=True)
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def melody(degrees: str, key: str = "C major") -> Melody:
    """A melody of degrees."""
    return parse_melody(degrees, key=key)


def tune(degrees: str, name: str = "tune", key: str = "C major") -> Tune:
    """A measured tune of degrees."""
    return tune_of(melody(degrees, key), name)


def degree_words(
    least: int = 1, most: int = 12, words: tuple[str, ...] = IN_KEY + OFF_KEY
) -> st.SearchStrategy[list[str]]:
    """Degrees without lengths."""
    return st.lists(st.sampled_from(words), min_size=least, max_size=most)


def timed_words(least: int = 1, most: int = 12) -> st.SearchStrategy[list[str]]:
    """Degrees with lengths."""
    word = st.builds(str.__add__, st.sampled_from(IN_KEY + OFF_KEY), st.sampled_from(LENGTHS))
    return st.lists(word, min_size=least, max_size=most)
