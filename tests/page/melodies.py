"""Random melodies with bars, rests, ties and phrases, for the tests of pages."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st

from fretpath import Melody, parse_melody

LENGTHS = {
    2: [["2"], ["1", "1"], ["3/2", "1/2"], ["1/2", "1/2", "1"]],
    3: [["3"], ["2", "1"], ["1", "1/2", "1/2", "1"], ["3/2", "3/2"], ["1/4", "3/4", "2"]],
    4: [["4"], ["1", "1", "2"], ["3/2", "1/2", "1", "1"], ["1", "1", "1", "1"]],
}


@st.composite
def barred_melodies(draw: st.DrawFn, *, most_bars: int = 8) -> Melody:
    """A melody in a meter, in C major around its tonic, every bar full."""
    beats = draw(st.sampled_from(sorted(LENGTHS)))
    bars = draw(st.lists(st.sampled_from(LENGTHS[beats]), min_size=1, max_size=most_bars))
    lines, words, sounding = [], [], False
    for bar in bars:
        for length in bar:
            kinds = ["note", "note", "note", "r"] + (["-"] if sounding else [])
            kind = draw(st.sampled_from(kinds))
            if kind == "note":
                kind = draw(st.sampled_from(["1", "2", "b3", "4", "#4", "5", "6,", "8", "9"]))
            sounding = kind != "r"
            words.append(f"{kind}:{length}")
        words.append("|")
        if draw(st.integers(0, 3)) == 0:
            lines.append(" ".join(words))
            words = []
    lines.append(" ".join(words))
    text = "\n".join(line for line in lines if line)
    if not any(word[0] in "#b123456789" for word in text.split()):
        text = f"1:{beats} |\n{text}"
    return parse_melody(f"key: C major\nmeter: {beats}/4\n\n{text}")


def beats_of(melody: Melody) -> Fraction:
    """Length of a whole melody in beats."""
    return sum((note.beats for note in melody.notes), Fraction(0))
