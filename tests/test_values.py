"""Values: checked where they are made, whole after every journey, and the same data both ways."""

from __future__ import annotations

import copy
import pickle
import pkgutil
from collections.abc import Callable, MutableMapping, MutableSequence, MutableSet
from dataclasses import fields, is_dataclass
from fractions import Fraction
from functools import cache, cached_property
from importlib import import_module
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from hypothesis import given

import fretpath
from fretpath import (
    HANDS,
    INSTRUMENTS,
    SCALES,
    Arrangement,
    AskedNote,
    Blanks,
    Card,
    Fingering,
    FretpathError,
    Hand,
    Instrument,
    Key,
    Limits,
    Look,
    Marking,
    Melody,
    Meter,
    Note,
    Pitch,
    Placement,
    Points,
    RequestError,
    Setup,
    Sheet,
    SoundPlan,
    Start,
    Weights,
    arrange,
    ear_measures,
    find_key,
    hear_recording,
    instrument_named,
    key_chart,
    learn_hand,
    mark,
    melody_wav,
    open_book,
    parse_melody,
    patterns_of,
    plan_term,
    questions_of,
    rank_keys,
    read_answer,
    read_scales,
    read_tab,
    reasons,
    spell,
    transpose,
    tune_of,
)
from fretpath.lesson.find import Wanted
from fretpath.music.melody import Repeat
from fretpath.neck.instrument import String
from fretpath.values import from_dict, schema_of, to_dict
from tests.strategies import melodies

TUNE = parse_melody("key: D dorian\nmeter: 3/4\ntempo: 90\n\n1 b3:1/2 4:3/2 | #4 5 8@2 | r:3 | 1:3")


@cache
def examples() -> dict[str, Any]:
    """A value of every public kind, by its name; what was looked at before is kept in it."""
    found = arrange(TUNE, Setup.of("bass", limits=Limits(highest_fret=12)))
    assert all((found.figures, found.fingerings, found.melody.degrees))  # kept from now on
    tab = "G|--2-4-5-|\nD|2-------|\nA|--------|\nE|--------|"
    reading = read_tab(tab, key="G")
    answer = parse_melody("key: D dorian\nmeter: 3/4\n\n1 3:1/2 4:3/2 | #4 5 8 | r:3 | 1:3")
    tune = tune_of(TUNE, "dorian.txt", "bass")
    departures = read_scales(TUNE)[0]
    heard = hear_recording(melody_wav(parse_melody("1 3", key="A").in_octave(2), rate=8000), "a")
    values = [
        *(found, found.melody, found.setup, found.instrument, found.hand, found.setup.limits),
        *(
            found.setup.weights,
            found.figures,
            found.fingerings[0],
            TUNE.notes[0],
            Key("D", "major"),
        ),
        *(Pitch.parse("F#2"), Pitch.parse("F#2") - Pitch.parse("C2"), Meter(6, 8), Placement(2, 3)),
        *(
            fretpath.Degree.parse("b3"),
            SCALES["dorian"],
            Start(4, 7),
            Points(),
            Blanks.parse("tab"),
        ),
        *(
            Look(),
            Sheet((found,)),
            fretpath.TuneSound(b"ID3\xff", b"ID3"),
            SoundPlan(tempo=90),
            Wanted.read(degrees="1 3"),
            departures,
        ),
        *(departures.departures[0], departures.accounts[0], find_key(TUNE), spell(TUNE)[1]),
        *(mark(TUNE, answer), tune, ear_measures(TUNE), questions_of(TUNE)[0], reasons(found)[1]),
        *(rank_keys(TUNE, "bass")[0], transpose(TUNE, "bass", to="A"), reading, reading.notes[0]),
        *(patterns_of([SCALES["major"]], "bass")["major"][0], key_chart(Key.parse("G"), "bass")),
        *(heard, heard.notes[0], fretpath.by_ear([tune])[0]),
        mark(TUNE, answer).mistakes[0],
        mark(parse_melody("1 2 3 3 2 3"), parse_melody("1 2 b3 b3 2 b3")).reasons[0],
        read_answer("Tom: 5,6,5,3", "C major")[0],
        String(Pitch.parse("E1")),
        Repeat(0, 2),
        HANDS["extended"].low[0],
        fretpath.Remark("read", "so", "bar 1"),
        learn_hand([parse_melody("1@4-3 5@3-5 8@2-5", key="G")], "bass"),
        Card(student="Wren", capo=2, weights=(("open", 5.0),)),
        AskedNote("2026-11-25", "Tom", "Steps", "1", "3"),
        plan_term([tune], 2),
        plan_term([tune], 2).weeks[0],
        open_book(b"X:1\nT:Ferry\nK:C\nCDE|\n"),
        fretpath.check_tab(reading, parse_melody("1 3 4 5", key="G")),
        fretpath.check_tab(reading, parse_melody("1 3 4 6", key="G")).faults[0],
        fretpath.read_score(b"X:1\nT:Ferry\nK:C\nCDE|\n"),
    ]
    return {type(value).__name__: value for value in values}


def public_kinds() -> set[str]:
    """Names of the public values."""
    values = {name: getattr(fretpath, name) for name in fretpath.__all__}
    return {name for name, value in values.items() if is_dataclass(value)}


def test_every_public_kind_has_an_example() -> None:
    assert public_kinds() <= set(examples())


TRAVELS: dict[str, Callable[[Any], Any]] = {
    "copy": copy.copy,
    "deepcopy": copy.deepcopy,
    "pickle": lambda value: pickle.loads(pickle.dumps(value)),
}


@pytest.mark.parametrize("name", sorted(public_kinds()))
class TestEveryValue:
    @pytest.mark.parametrize("travel", TRAVELS)
    def test_travels_whole(self, name: str, travel: str) -> None:
        value = examples()[name]
        again = TRAVELS[travel](value)
        assert again == value
        assert type(again) is type(value)
        assert hash(again) == hash(value)

    def test_does_not_change_by_being_looked_at(self, name: str) -> None:
        value = copy.deepcopy(examples()[name])
        fresh = copy.deepcopy(value)
        kept = [n for n, each in vars(type(value)).items() if isinstance(each, cached_property)]
        for each in kept:
            getattr(value, each)
        assert value == fresh
        assert hash(value) == hash(fresh)
        assert pickle.loads(pickle.dumps(value)) == fresh

    def test_help_tells_every_field(self, name: str) -> None:
        kind = type(examples()[name])
        told = kind.__doc__ or ""
        for field in fields(kind):
            assert f"{field.name}: " in told, f"{name}.{field.name}"


def test_what_was_looked_at_does_not_travel() -> None:
    found = arrange(TUNE, "bass")
    before = pickle.dumps(found)
    assert found.figures.travel >= 0
    assert found.fingerings
    assert len(pickle.dumps(found)) == len(before)


def test_an_arrangement_is_one_short_line() -> None:
    shown = repr(arrange(parse_melody("1 5 8 9 10 " * 40, key="B"), "bass"))
    assert "\n" not in shown
    assert len(shown) < 160
    assert "200 notes" in shown


def test_public_tables_are_read_only() -> None:
    for name in fretpath.__all__:
        table = getattr(fretpath, name)
        assert not isinstance(table, MutableMapping | MutableSequence | MutableSet), name
    for table in (SCALES, INSTRUMENTS, HANDS):
        with pytest.raises(TypeError):
            table["mine"] = 1  # type: ignore[index]


PITCH = Pitch.parse("E2")
WRONG: list[tuple[type, tuple[Any, ...], dict[str, Any]]] = [
    (Note, (PITCH, 0), {}),
    (Note, (PITCH, Fraction(-1)), {}),
    (Note, (PITCH, "long"), {}),
    (Note, (PITCH, float("nan")), {}),
    (Note, (PITCH, 2**0.5), {}),
    (Note, (60,), {}),
    (Note, (None, 1, True), {}),
    (Note, ("H2",), {}),
    (Pitch, (1.5, 60), {}),
    (Pitch, ("C", 4), {}),
    (Pitch, (True, 4), {}),
    (Meter, (0, 4), {}),
    (Meter, (3, 5), {}),
    (Meter, ("3", 4), {}),
    (Key, ("H", "major"), {}),
    (Key, (1, "major"), {}),
    (Placement, (0, 1), {}),
    (Placement, (1, -1), {}),
    (Repeat, (0, 2.5), {}),
    (Melody, ((1, 2),), {}),
    (Melody, ("C D E",), {}),
    (Melody, ((Note(PITCH),),), {"tempo": 0}),
    (Melody, ((Note(PITCH),),), {"tempo": "fast"}),
    (Melody, ((Note(PITCH),),), {"title": None}),
    (Melody, ((Note(PITCH),),), {"keys": [(0, "H")]}),
    (Melody, ((Note(PITCH),),), {"keys": [(0,)]}),
    (Melody, ((Note(PITCH),),), {"meters": [(0, "3/0")]}),
    (Melody, ((Note(PITCH),),), {"bars": 3}),
    (String, (PITCH, -1), {}),
    (Instrument, ("mine", [PITCH], 600, 20), {}),
    (Instrument, ("mine", [String(PITCH)], "long", 20), {}),
    (Instrument, ("mine", [String(PITCH)], 600, 20), {"playing": "seated"}),
    (Instrument, ("mine", [String(PITCH)], 600, 20), {"spacing": (9,)}),
    (Hand, ("mine", [1], [2]), {}),
    (Start, (0, 1), {}),
    (Start, (1, 1, 5), {}),
    (Limits, (), {"open_strings": "some"}),
    (Limits, (), {"position": "II"}),
    (Limits, (), {"no_shift": "yes"}),
    (Weights, (), {"shift": "dear"}),
    (Weights, (), {"shift": float("inf")}),
    (Points, (-1,), {}),
    (Points, ("many",), {}),
    (SoundPlan, (), {"tempo": 0}),
    (SoundPlan, (), {"tempo": "slow"}),
    (Sheet, ((TUNE,),), {}),
    (fretpath.TuneSound, ("no base64",), {}),
    (fretpath.TuneSound, (3,), {}),
    (fretpath.TuneSound, (b"ID3", Path("tonic.mp3")), {}),
    (Fingering, (1, 2, 3, 9), {}),
]


@pytest.mark.parametrize(("kind", "given_", "named"), WRONG)
def test_impossible_fields_are_refused(
    kind: type, given_: tuple[Any, ...], named: dict[str, Any]
) -> None:
    with pytest.raises(FretpathError):
        kind(*given_, **named)


@pytest.mark.parametrize("string", [0, 5, -1])
def test_a_string_that_is_not_there(string: int) -> None:
    with pytest.raises(RequestError, match="strings are 1 to 4"):
        instrument_named("bass").midi_at(string, 2)


def test_what_is_nearly_right_is_put_right() -> None:
    note = Note(PITCH, 1)  # type: ignore[arg-type]
    assert type(note.beats) is Fraction
    assert Note(PITCH, 1.5).beats == Note(PITCH, "3/2").beats == Fraction(3, 2)  # type: ignore[arg-type]
    assert Note(PITCH, 1 / 3).beats == Fraction(1, 3)  # type: ignore[arg-type]
    pitch = Pitch(np.int64(16), np.int32(40))  # type: ignore[arg-type]
    assert pitch == PITCH
    assert type(pitch.midi) is int
    melody = Melody([note, note], keys=[[0, "E minor"]], bars=[np.int64(1)])  # type: ignore[arg-type, list-item]
    assert melody == Melody((note, note), keys=((0, Key.parse("E minor")),), bars=(1,))
    assert hash(melody) == hash(pickle.loads(pickle.dumps(melody)))
    assert Limits(strings=[1, 2]).strings == (1, 2)  # type: ignore[arg-type]
    assert Limits(no_shift=np.True_).no_shift is True  # type: ignore[arg-type]


def as_json(value: Any) -> Any:
    """Through JSON and back."""
    import json

    return json.loads(json.dumps(to_dict(value), allow_nan=False))


class TestPlainData:
    @pytest.mark.parametrize("name", sorted(public_kinds() - {"Book", "Sheet"}))
    def test_every_value_comes_back(self, name: str) -> None:
        value = examples()[name]
        data = as_json(value)
        jsonschema.Draft202012Validator.check_schema(schema_of(type(value)))
        jsonschema.validate(data, schema_of(type(value)), jsonschema.Draft202012Validator)
        assert from_dict(data, type(value)) == value

    @given(melodies())
    def test_any_melody_comes_back(self, melody: Melody) -> None:
        data = as_json(melody)
        jsonschema.validate(data, schema_of(Melody), jsonschema.Draft202012Validator)
        assert from_dict(data, Melody) == melody

    @pytest.mark.parametrize("name", sorted(INSTRUMENTS))
    def test_every_instrument_comes_back(self, name: str) -> None:
        setup = Setup.of(name)
        assert from_dict(as_json(setup), Setup) == setup

    def test_a_pitch_beyond_its_notation(self) -> None:
        far = Note(Pitch(0, 60))
        assert as_json(far)["pitch"] == {"staff": 0, "midi": 60}
        assert from_dict(as_json(far), Note) == far

    def test_keys_of_a_page_are_passed_over(self) -> None:
        assert from_dict(to_dict(TUNE) | {"page": 1}, Melody) == TUNE

    @pytest.mark.parametrize(
        ("data", "kind", "says"),
        [
            (
                {"schema": "fretpath/Melody/2", "notes": []},
                Melody,
                "not plain data of fretpath/Mel",
            ),
            ({"schema": "fretpath/Melody/1"}, Marking, "fretpath/Marking/1"),
            ({"schema": "fretpath/Melody/1"}, Melody, "Melody: notes is missing"),
            ({"notes": [{"pitch": "C4", "beats": "1/0"}]}, Melody, "Note.beats: a number such"),
            ({"notes": [{"pitch": 3}]}, Melody, "Note.pitch: a Pitch or None is needed, not 3"),
            ([], Melody, "not plain data"),
        ],
    )
    def test_other_data_is_refused(self, data: Any, kind: type, says: str) -> None:
        with pytest.raises(RequestError, match=says):
            from_dict(data, kind)

    def test_what_is_no_value_is_refused(self) -> None:
        with pytest.raises(RequestError, match="only values become plain data"):
            to_dict("C major")

    def test_the_schema_refuses_what_the_value_refuses(self) -> None:
        data = as_json(arrange(TUNE, "bass")) | {"strings": "all"}
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(data, schema_of(Arrangement), jsonschema.Draft202012Validator)


def test_every_value_in_the_house_can_be_described() -> None:
    root = Path(fretpath.__file__).parent
    for module in pkgutil.walk_packages([str(root)], "fretpath."):
        if module.name == "fretpath.__main__":
            continue
        for kind in vars(import_module(module.name)).values():
            own = isinstance(kind, type) and kind.__module__ == module.name
            if own and is_dataclass(kind) and issubclass(kind, fretpath.values.Value):
                jsonschema.Draft202012Validator.check_schema(schema_of(kind))
