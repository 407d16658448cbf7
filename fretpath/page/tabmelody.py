"""What a text tab means: its instrument, its sounds, and the melody it plays.

A tab has places and no lengths: every note of the melody lasts one beat, bars are those of the
tab, and each note keeps its place as the teacher's will.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from fretpath.errors import FretpathError, RequestError, ScoreFileError
from fretpath.music.key import Key
from fretpath.music.melody import WORKING_OCTAVE, Melody, Note, Placement
from fretpath.music.pitch import Pitch
from fretpath.music.sounding import likeliest_signature
from fretpath.neck.catalogue import INSTRUMENTS, instrument_named
from fretpath.neck.instrument import Instrument
from fretpath.page.tabtext import TabNote, TabText, header_hints

__all__ = ["PlayedTab", "instrument_of", "key_of", "played", "without_places"]

_BY_COUNT = {4: "bass", 5: "bass-5", 6: "guitar", 7: "guitar-7"}


@dataclass(frozen=True)
class PlayedTab:
    """A tab on an instrument."""

    tab: TabText
    """What was read."""
    instrument: Instrument
    """What it is played on."""
    melody: Melody
    """One note a moment (the highest of a chord), one beat each, placed."""
    notes: tuple[TabNote, ...]
    """The numbers behind the struck notes of the melody, in order."""
    off_the_neck: tuple[TabNote, ...]
    """Numbers that the instrument has no fret for."""
    lower: tuple[TabNote, ...]
    """Notes that sound under another one at the same moment."""


def instrument_of(tab: TabText) -> tuple[Instrument, str]:
    """The instrument a tab is most likely for, and the reason in one sentence.

    From the lines above it, else from its string names, else from the number of its strings;
    :class:`RequestError` if all of that is silent.
    """
    hints = header_hints(tab.header)
    made, reason = _named(tab, hints)
    if hints.get("tuning") and len(hints["tuning"].replace(",", " ").split()) == tab.strings:
        made = made.customised(tuning=hints["tuning"])
        reason = "instrument and tuning as the tab says" if "instrument" in hints else reason
    if "capo" in hints:
        made = made.customised(capo=int(hints["capo"]))
    return made, reason


def _named(tab: TabText, hints: dict[str, str]) -> tuple[Instrument, str]:
    if hints.get("instrument") in INSTRUMENTS:
        made = instrument_named(hints["instrument"])
        if len(made.strings) == tab.strings:
            return made, "instrument as the tab says"
    letters = [re.sub(r"-?\d", "", label).upper() for label in tab.labels]
    if all(letters):
        for made in INSTRUMENTS.values():
            if [name.upper() for name in made.string_names] == letters:
                return made, f"read as {made.name}, by its string names (or say --instrument)"
    if tab.strings not in _BY_COUNT:
        raise RequestError(
            f"a tab of {tab.strings} strings: say what it is for with --instrument or --tuning"
        )
    made = instrument_named(_BY_COUNT[tab.strings])
    if not all(letters):
        return made, f"read as {made.name}, by its {tab.strings} strings (or say --instrument)"
    tuned = _tuned(made, letters)
    return made.customised(
        tuning=tuned
    ), f"read as {made.name} tuned {tuned}, by its string names (or say --instrument)"


def _tuned(made: Instrument, letters: Sequence[str]) -> str:
    """The tuning with these names that lies nearest to the usual one, string n first."""
    pitches = []
    for letter, string in zip(letters, made.strings, strict=True):
        name = letter[0] + letter[1:].lower()
        low = Pitch.parse(f"{name}0")
        octave = (string.open.midi - low.midi + 6) // 12
        pitches.append(f"{name}{octave}")
    return " ".join(reversed(pitches))


def key_of(tab: TabText) -> Key | None:
    """The key that stands above the tab, or None."""
    hint = header_hints(tab.header).get("key")
    try:
        return Key.parse(hint) if hint else None
    except FretpathError:
        return None


def played(tab: TabText, instrument: Instrument, key: Key | None, *, source: str) -> PlayedTab:
    """The melody of a tab on an instrument; *key* spells it and counts its degrees."""
    if tab.strings != len(instrument.strings):
        raise RequestError(
            f"the tab has {tab.strings} strings, the {instrument.name} has "
            f"{len(instrument.strings)}; say which instrument it is for with --instrument"
        )
    off, lower, kept = [], [], []
    for chord in tab.chords:
        sounding = [(instrument.midi_at(note.string, note.fret), note) for note in chord]
        off += [note for midi, note in sounding if midi is None]
        heard = [(midi, note) for midi, note in sounding if midi is not None]
        heard.sort(key=lambda pair: pair[0])
        lower += [note for _, note in heard[:-1]]
        kept += heard[-1:]
    if not kept:
        raise ScoreFileError(f"{source}: no number of this tab lies on the {instrument.name}")
    melody = _melody(kept, key)
    notes = tuple(note for _, note in kept)
    return PlayedTab(tab, instrument, melody, notes, tuple(off), tuple(lower))


def without_places(melody: Melody) -> Melody:
    """The melody with every note free to lie anywhere on the neck."""
    return replace(melody, notes=tuple(replace(note, placement=None) for note in melody.notes))


def _melody(kept: Sequence[tuple[int, TabNote]], key: Key | None) -> Melody:
    spelling = key or likeliest_signature(midi for midi, _ in kept)
    notes = tuple(
        Note(spelling.spell(midi), placement=Placement(note.string, note.fret))
        for midi, note in kept
    )
    bars = [i for i in range(1, len(kept)) if kept[i][1].bar != kept[i - 1][1].bar]
    lines = [i for i in range(1, len(kept)) if kept[i][1].slot[0] != kept[i - 1][1].slot[0]]
    pitches = [note.pitch for note in notes if note.pitch]
    return Melody(
        notes=notes,
        keys=((0, key),) if key else (),
        bars=tuple(bars),
        phrases=tuple(lines),
        octave=key.octave_of(pitches) if key else WORKING_OCTAVE,
    )
