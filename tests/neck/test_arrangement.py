"""The result checks itself: no arrangement can exist whose places do not sound its notes."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import FrozenInstanceError, replace
from itertools import groupby

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fretpath import (
    Arrangement,
    ArrangementError,
    Melody,
    UnplayableError,
    arrange,
    instrument_named,
    parse_melody,
)
from fretpath.neck.arrangement import figures_of
from tests.strategies import melodies


def fits(melody: Melody, *, low: int, high: int) -> bool:
    """Whether some octave that the text allows puts every note on the neck."""
    midi = [pitch.midi for pitch in melody.pitches]
    octaves = range(-5, 6) if melody.octave_free else (0,)
    return any(low <= min(midi) + 12 * up and max(midi) + 12 * up <= high for up in octaves)


@pytest.fixture
def found() -> Arrangement:
    """The five notes of the first lesson."""
    return arrange(parse_melody("key: B major\n\n1 5 8 9 10"), "bass")


class TestChecks:
    def test_every_place_must_sound_its_note(self, found: Arrangement) -> None:
        for note in range(5):
            frets = list(found.frets)
            frets[note] += 1
            with pytest.raises(ArrangementError, match="does not lie on"):
                replace(found, frets=tuple(frets))

    def test_every_note_must_have_a_place(self, found: Arrangement) -> None:
        with pytest.raises(ArrangementError, match="every struck note"):
            replace(found, strings=found.strings[1:])

    def test_nothing_can_be_changed_afterwards(self, found: Arrangement) -> None:
        with pytest.raises(FrozenInstanceError):
            found.frets = (1, 2, 3, 4, 5)  # type: ignore[misc]

    @given(melodies(placed=False))
    def test_any_melody_sounds_as_written_or_is_refused(self, melody: Melody) -> None:
        assume(melody.pitches)
        try:
            found = arrange(melody, "guitar")
        except UnplayableError:
            assert not fits(melody, low=40, high=85)
            return
        sounds = [
            found.instrument.midi_at(string, fret)
            for string, fret in zip(found.strings, found.frets, strict=True)
        ]
        assert sounds == [pitch.midi for pitch in found.melody.pitches]
        assert found.melody.degrees == melody.degrees
        for fingering in found.fingerings:
            if fingering.fret:
                assert fingering.fret == fingering.position + fingering.finger - 1
            else:
                assert fingering.finger == 0


class TestTime:
    """At 90 beats a minute a beat lasts two thirds of a second."""

    TUNE = "key: C\noctave: 2\ntempo: {}\n\n1:1/2@4-8 2@4-10 - r 3@4-12 4@4-13 5@4-15"

    def test_onsets_in_seconds(self) -> None:
        timed = arrange(parse_melody(self.TUNE.format(90)))
        assert timed.onset_seconds == pytest.approx([0, 1 / 3, 7 / 3, 3, 11 / 3])
        assert arrange(parse_melody("1 2")).onset_seconds is None

    def test_the_fastest_shift(self) -> None:
        timed = arrange(parse_melody(self.TUNE.format(90)))
        mm = [timed.instrument.distance(position) for position in timed.positions]
        seconds = [1 / 3, 2, 2 / 3, 2 / 3]
        speeds = [abs(b - a) / s for a, b, s in zip(mm, mm[1:], seconds, strict=False)]
        assert timed.figures.fastest_shift == pytest.approx(max(speeds))
        assert max(speeds) > 0
        quicker = arrange(parse_melody(self.TUNE.format(180)))
        assert quicker.positions == timed.positions
        assert quicker.figures.fastest_shift == pytest.approx(2 * max(speeds))


@given(
    st.lists(
        st.tuples(st.integers(1, 4), st.integers(1, 12), st.integers(-1, 3)),
        min_size=1,
        max_size=12,
    )
)
def test_figures_of_stays_against_counting(rows: list[tuple[int, int, int]]) -> None:
    """A stay is a run of notes at one position; -1 stands for an open string."""
    bass = instrument_named("bass")
    strings = [string for string, _, _ in rows]
    positions = [position for _, position, _ in rows]
    frets = [position + offset if offset >= 0 else 0 for _, position, offset in rows]
    found = figures_of(bass, strings, frets, positions)
    stays = [
        [fret for _, fret in stay]
        for _, stay in groupby(zip(positions, frets, strict=True), key=lambda row: row[0])
    ]
    assert found.positions == tuple(position for position, _ in groupby(positions))
    assert found.shifts == len(stays) - 1
    stopped = [[bass.distance(fret) for fret in stay if fret] or [0.0] for stay in stays]
    assert found.widest_stretch == pytest.approx(max(max(mm) - min(mm) for mm in stopped))
    assert found.open_strings == frets.count(0)


def test_the_check_stays_when_python_leaves_assertions_out() -> None:
    program = (
        "from dataclasses import replace\n"
        "from fretpath import arrange, parse_melody\n"
        "replace(arrange(parse_melody('E1 G1')), frets=(0, 4))"
    )
    run = subprocess.run([sys.executable, "-O", "-c", program], capture_output=True, text=True)
    assert "ArrangementError: G1 does not lie on string 4, fret 4" in run.stderr
