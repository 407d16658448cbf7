"""The tunes of the Harbour Lane Music Room: each is what its header says it teaches."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from fretpath import Melody, arrange, format_melody, parse_melody, render_tab

FOLDER = Path(__file__).parent.parent / "demo_melodies"
FILES = sorted(FOLDER.glob("*.txt"))
TRADITIONAL = {
    "ah_vous_dirai_je_maman",
    "au_clair_de_la_lune",
    "frere_jacques",
    "tempus_adest_floridum",
}


def melody_in(path: Path) -> Melody:
    """The tune in a file."""
    return parse_melody(path.read_text(encoding="utf-8"), source=path.name)


def tune(name: str) -> Melody:
    """A tune by the name of its file."""
    return melody_in(FOLDER / f"{name}.txt")


def plain(melody: Melody) -> list[str]:
    """Simple degrees without octaves."""
    return [degree.plain for degree in melody.degrees if degree]


def written(melody: Melody) -> list[str]:
    """Degrees with their octaves, as they stand in the text."""
    return [str(degree) for degree in melody.degrees if degree]


def steps(melody: Melody) -> list[int]:
    """Letters from note to note, downwards negative."""
    return [after.staff - before.staff for before, after in pairwise(melody.pitches)]


def test_there_are_enough_of_them() -> None:
    names = {path.stem for path in FILES}
    assert len(names - TRADITIONAL) >= 8
    assert names >= TRADITIONAL


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
class TestEveryTune:
    def test_is_written_and_read_back(self, path: Path) -> None:
        melody = melody_in(path)
        assert parse_melody(format_melody(melody)) == melody

    def test_says_what_it_is(self, path: Path) -> None:
        melody = melody_in(path)
        assert melody.title
        assert melody.tempo
        assert melody.meter
        assert len(melody.header("teaches")) > 10
        year = "Paris 1761" in melody.header("source") or "18" in melody.header("source")
        assert (
            year or "Harbour Lane" in melody.header("source") or "1582" in melody.header("source")
        )

    @pytest.mark.parametrize("instrument", ["bass", "guitar"])
    def test_can_be_played(self, path: Path, instrument: str) -> None:
        found = arrange(melody_in(path), instrument)
        assert len(found) == len(found.melody.pitches)
        assert all(len(line) <= 80 for line in render_tab(found).splitlines())

    def test_comes_home(self, path: Path) -> None:
        # Every tune ends on 1, and no bar line is missing: the last bar adds up with the pickup.
        melody = melody_in(path)
        assert plain(melody)[-1] == "1"
        assert melody.meter
        first, *_, last = melody.spans(melody.bars)
        beats = [sum(melody.notes[i].beats for i in span) for span in (first, last)]
        whole = melody.meter.beats
        assert beats == [whole, whole] or sum(beats) == whole


class TestWhatTheyTeach:
    def test_steps_only(self) -> None:
        assert set(steps(tune("up_the_gangway"))) <= {-1, 1}

    def test_tonic_triad(self) -> None:
        melody = tune("ferry_bell")
        assert set(plain(melody)) == {"1", "3", "5"}
        assert written(melody).count("8") == 1

    def test_starting_on_the_fifth_below(self) -> None:
        melody = tune("casting_off")
        assert written(melody)[:2] == ["5,", "1"]

    def test_octave_ninth_and_tenth(self) -> None:
        assert {"8", "9", "10"} <= set(written(tune("gulls_over_the_mast")))

    def test_parallel_minor_in_the_middle(self) -> None:
        melody = tune("lantern_in_the_fog")
        assert [str(key) for _, key in melody.keys] == ["G major", "G natural minor", "G major"]
        start, stop = melody.keys[1][0], melody.keys[2][0]
        inside = [
            degree.plain
            for degree, event in zip(melody.degrees, melody.struck, strict=True)
            if degree and start <= event < stop
        ]
        assert {"b3", "b6", "b7"} <= set(inside)
        assert not {"3", "6", "7"} & set(inside)
        assert not {"b3", "b6", "b7"} & set(plain(melody)[: melody.struck.index(start)])

    def test_lydian_fourth(self) -> None:
        melody = tune("lighthouse_stair")
        assert "#4" in plain(melody)
        assert "4" not in plain(melody)

    def test_flat_second(self) -> None:
        melody = tune("black_water_low_tide")
        degrees = plain(melody)
        assert "2" not in degrees
        homeward = [after for before, after in pairwise(degrees) if before == "b2"]
        assert homeward.count("1") >= 1

    def test_minor_pentatonic(self) -> None:
        assert set(plain(tune("night_crane"))) == {"1", "b3", "4", "5", "b7"}

    def test_three_in_a_bar(self) -> None:
        melody = tune("rocking_dinghy")
        assert str(melody.meter) == "3/4"
        firsts = [melody.notes[span.start].beats for span in melody.spans(melody.bars)]
        assert sum(beats >= 2 for beats in firsts) > len(firsts) / 2

    def test_pickup(self) -> None:
        melody = tune("market_day_quay")
        assert melody.has_pickup
        first, *_, last = melody.spans(melody.bars)
        beats = sum(melody.notes[i].beats for i in (*first, *last))
        assert melody.meter
        assert beats == melody.meter.beats

    def test_raised_fourth_in_passing(self) -> None:
        degrees = plain(tune("over_the_harbour_bar"))
        around = [degrees[i - 1 : i + 2] for i, degree in enumerate(degrees) if degree == "#4"]
        assert around
        assert all(three == ["4", "#4", "5"] for three in around)

    def test_mixolydian_flat_seventh(self) -> None:
        degrees = plain(tune("rope_and_tar"))
        assert {"3", "b7"} <= set(degrees)
        assert "7" not in degrees

    def test_tie_over_the_bar_line_and_rests(self) -> None:
        melody = tune("waiting_for_the_tide")
        assert any(melody.notes[at].tied for at in melody.bars)
        assert any(note.pitch is None for note in melody.notes)

    def test_leap_from_one_to_five_then_home_by_steps(self) -> None:
        moves = [step for step in steps(tune("ah_vous_dirai_je_maman")) if step]
        assert moves[0] == 4
        assert set(moves[1:7]) <= {-1, 1}

    def test_fifth_below_in_the_third_phrase(self) -> None:
        melody = tune("au_clair_de_la_lune")
        phrases = list(melody.spans(melody.phrases))
        low = melody.struck.index(phrases[2].stop - 1)
        assert written(melody)[low] == "5,"

    def test_fifth_below_at_the_end(self) -> None:
        assert written(tune("frere_jacques"))[-6:] == ["1", "5,", "1", "1", "5,", "1"]

    def test_walking_down_to_the_fifth_below(self) -> None:
        assert "5, 6, 7, 1" in " ".join(written(tune("tempus_adest_floridum")))
