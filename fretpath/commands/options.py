"""Options that several commands share, and what they make of them."""

from __future__ import annotations

import argparse
import os
import re
from dataclasses import replace
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, TypeVar

from fretpath.commands.files import melody_text, note_input, write_file
from fretpath.errors import STEERING, RequestError
from fretpath.exchange.door import KINDS, ending_of, is_score_name, read_card
from fretpath.music.departures import read_scales
from fretpath.music.heads import key_words
from fretpath.music.keyfinding import KeyGuess, find_key, in_key
from fretpath.music.loose import read_loosely
from fretpath.music.melody import Melody
from fretpath.neck.arrange import arrange, lower_octave
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.catalogue import INSTRUMENTS, instrument_named, instrument_tuned
from fretpath.neck.hand import HANDS, hand_named, with_reach
from fretpath.neck.instrument import Instrument
from fretpath.neck.setup import OBJECTIVES, OPEN_STRINGS, REPEATS, Card, Limits, Setup, Start
from fretpath.neck.terms import PLAYING, Weights, usual_weights
from fretpath.page.departures import key_remarks
from fretpath.page.rows import HIDES
from fretpath.remarks import Remark
from fretpath.values import Value

if TYPE_CHECKING:
    from fretpath.page.sound import SoundPlan

V = TypeVar("V", bound=Value)
USUAL_INSTRUMENT = "bass"


def add_melody_options(parser: argparse.ArgumentParser, *, needed: bool = True) -> None:
    """The melody (which some commands can do without) and its key."""
    parser.add_argument(
        "melody",
        metavar="MELODY",
        nargs="+" if needed else "*",
        help='melody text such as "1 5 8 9 10", a file (melody text, MusicXML, MIDI, ABC), or - '
        "for standard input",
    )
    add_score_options(parser)
    parser.add_argument(
        "--key",
        help="tonic, such as B (the mode stays), or 'C minor'; notes in letters stay "
        "(transpose moves them)",
    )
    parser.add_argument(
        "--octave",
        metavar="N",
        help="octave of the tonic, sounding (C4 is middle C), or free: let the instrument choose",
    )
    parser.add_argument(
        "--degrees",
        choices=("major", "key"),
        default="major",
        help="print degrees against the major scale (default) or the key signature",
    )


def add_score_options(parser: argparse.ArgumentParser) -> None:
    """Which melody of a score file."""
    score = parser.add_argument_group("score files")
    score.add_argument("--tune", metavar="NUMBER|TITLE", help="which tune of a tune book")
    score.add_argument("--part", metavar="NUMBER|NAME", help="which part; 1.2 is its second voice")
    score.add_argument(
        "--voice", choices=("top", "lowest"), default="top", help="which note of a chord"
    )
    score.add_argument("--places", action="store_true", help="keep the strings and frets given")
    parser.set_defaults(remarks=[])


def melody_from(arguments: argparse.Namespace) -> Melody:
    """The melody the arguments name, in the key and octave they ask for."""
    _refuse_several_files(arguments.melody)
    words = " ".join(arguments.melody)
    if is_score_name(words):
        melody = _from_score(arguments, words)
    else:
        _refuse_score_options(arguments)
        text, source = melody_text(words)
        melody, remarks = read_loosely(text, key=arguments.key, source=source)
        arguments.remarks.extend(remarks)
    arguments.remarks.extend(doubts_of_key(melody))
    if arguments.octave is None:
        return melody
    if arguments.octave == "free":
        return replace(melody, octave_free=True)
    return melody.in_octave(_octave(arguments.octave))


def _refuse_several_files(words: list[str]) -> None:
    files = [word for word in words if "." in word and os.path.isfile(word)]
    if len(files) > 1:
        raise RequestError(
            f"{files[0]} and {files[1]} are two melodies, and this command takes one at a time "
            "(sheet takes several; order, find and term take a folder)"
        )


def _refuse_score_options(arguments: argparse.Namespace) -> None:
    for name in ("tune", "part"):
        if getattr(arguments, name, None) is not None:
            raise RequestError(f"--{name} chooses from a score file, and this is melody text")


def _from_score(arguments: argparse.Namespace, path: str) -> Melody:
    """The melody of a score file; what must be said about it is kept for standard error."""
    from fretpath.exchange.scores import move_to, read_score

    note_input(path)
    found = read_score(
        path,
        tune=arguments.tune,
        part=arguments.part,
        lowest=arguments.voice == "lowest",
        places=arguments.places,
    )
    name = PurePath(path).name
    arguments.remarks.extend(f"{name}: {remark}" for remark in found.remarks)
    if arguments.key is None:
        return found.melody
    lettered = ending_of(path) not in (".mid", ".midi")
    return move_to(found.melody, key_words(arguments.key), lettered=lettered)


def _octave(text: str) -> int:
    if re.fullmatch(r"-1|\d", text) is None:
        raise RequestError(f'an octave is -1 to 9 (C4 is middle C), or free, not "{text[:40]}"')
    return int(text)


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


def add_instrument_options(parser: argparse.ArgumentParser) -> None:
    """The instrument and what may be changed about it."""
    group = parser.add_argument_group("instrument")
    group.add_argument(
        "--instrument",
        metavar="NAME",
        help=f'a name from "fretpath instruments" (default: {USUAL_INSTRUMENT}, or the one that '
        "has the tuning given)",
    )
    group.add_argument(
        "--tuning", metavar="STRINGS", help='open strings, string n first: "D1 A1 D2 G2"'
    )
    group.add_argument("--frets", type=int, metavar="N", help="highest fret of the neck")
    group.add_argument("--scale-length", metavar="LENGTH", help="nut to bridge: 30in or 762mm")
    group.add_argument(
        "--capo", type=int, metavar="FRET", help="fret under the capo; frets count from it"
    )
    group.add_argument(
        "--card",
        metavar="FILE",
        help="a student's card: instrument, hand, reach, prices and more; options count before it",
    )


_OF_THE_INSTRUMENT = (
    "tuning", "frets", "scale_length", "capo", "hand", "highest_fret", "playing", "weights"
)  # fmt: skip
"""Entries of a card that mean nothing on another instrument."""


def use_card(arguments: argparse.Namespace) -> None:
    """Put the entries of the card that is named where no option says otherwise.

    With ``--instrument`` for another one the entries about the instrument stay unused, with
    ``--playing`` for another way the prices; that is said in a remark.
    """
    note_input(arguments.card)
    card = read_card(arguments.card)
    unused = _unused(arguments, card)
    entries = {name: value for name, value in card.entries.items() if hasattr(arguments, name)}
    left = [name for name in entries if name in unused]
    if left:
        vars(arguments).setdefault("remarks", []).append(
            f"{PurePath(arguments.card).name}: {', '.join(left)} not used, meant for the "
            f"{card.neck.name} played {card.playing or card.neck.playing}"
        )
    for name in entries.keys() - {*unused, "weights"}:
        if getattr(arguments, name) in (None, False):
            setattr(arguments, name, entries[name])
    if "weights" in entries and "weights" not in unused:
        prices = ",".join(f"{name}={price}" for name, price in card.weights)
        arguments.weights = ",".join(filter(None, (prices, arguments.weights)))


def card_from(arguments: argparse.Namespace, setup: Setup) -> Card:
    """A card that holds the setup, and whatever else the arguments and their card say."""
    before = Card() if arguments.card is None else read_card(arguments.card)
    neck = setup.instrument
    usual = usual_weights(neck, arguments.playing)
    entries = {name: getattr(arguments, name, getattr(before, name)) for name in vars(before)}
    entries |= {
        "instrument": neck.name,
        "tuning": None if neck.tuning == instrument_named(neck.name).tuning else neck.tuning,
        "capo": neck.capo or None,
        "weights": tuple(
            (name, price)
            for name, price in vars(setup.weights).items()
            if price != getattr(usual, name)
        ),
    }
    return Card(**entries)


def _unused(arguments: argparse.Namespace, card: Card) -> tuple[str, ...]:
    """The entries of a card that do not go with the options."""
    if arguments.instrument and instrument_named(arguments.instrument).name != card.neck.name:
        return _OF_THE_INSTRUMENT
    playing = getattr(arguments, "playing", None)
    return ("weights",) if playing not in (None, card.playing or card.neck.playing) else ()


def instrument_from(arguments: argparse.Namespace) -> Instrument:
    """The instrument the arguments describe."""
    tuned = None
    if arguments.tuning and not arguments.instrument:
        tuned = instrument_tuned(arguments.tuning)
        if tuned and not any(char.isdigit() for char in arguments.tuning):
            raise RequestError(
                f'"{arguments.tuning[:40]}": a tuning names octaves, such as {tuned.tuning}; '
                f"that is --instrument {tuned.name}"
            )
    return (
        tuned or instrument_named(_instrument_name(arguments.instrument or USUAL_INSTRUMENT))
    ).with_changes(
        tuning=arguments.tuning,
        frets=arguments.frets,
        scale_length=arguments.scale_length,
        capo=arguments.capo,
    )


def _instrument_name(text: str) -> str:
    """The name of the instrument that words such as ``5-string bass`` mean; else the text."""
    words = [w for w in re.findall(r"[a-z0-9]+", text.lower()) if w not in ("string", "strings")]
    words = [_COUNTS.get(word, word) for word in words]
    if "bass" in words or ("baritone" in words and "ukulele" in words):
        words = [word for word in words if word != "guitar"]
    for name, instrument in INSTRUMENTS.items():
        usual = [str(len(instrument.strings)), *name.split("-")]
        if sorted(words) in (sorted(name.split("-")), sorted(usual)):
            return name
    return text


_COUNTS = {"four": "4", "five": "5", "six": "6", "seven": "7", "uke": "ukulele"}


def add_hand_options(parser: argparse.ArgumentParser) -> None:
    """The hand, its prices, and the teacher's limits."""
    group = parser.add_argument_group("hand and limits")
    group.add_argument(
        "--hand",
        help=f"{', '.join(HANDS)} (a change-over fret after a colon: one-two-four:5), "
        "or a finger for each fret such as 12.4",
    )
    group.add_argument(
        "--reach", metavar="MM", help="widest span from the index finger, such as 80mm"
    )
    group.add_argument(
        "--playing",
        choices=PLAYING,
        help="fret most notes (in-position, usual on bass and guitar), or stay low among the open "
        "strings (open-position, usual elsewhere and for beginners)",
    )
    group.add_argument(
        "--weights", default="", metavar="NAME=N", help="cost weights, such as shift=2,open=0"
    )
    _add_limits(group)
    group.add_argument(
        "--objective",
        choices=OBJECTIVES,
        default="total",
        help="least effort in all (default), or no single move more than twice as hard as it must "
        "be (for a fast passage: more shifts, and smaller ones)",
    )
    group.add_argument(
        "--repeats",
        choices=REPEATS,
        default="same",
        help="finger a phrase that comes again the same (default), or each for itself",
    )


def _add_limits(group: argparse._ArgumentGroup) -> None:
    """The places that the teacher allows, and the keys."""
    group.add_argument(
        "--open-strings",
        choices=OPEN_STRINGS,
        default="allow",
        help="open strings (default: allow)",
    )
    group.add_argument(
        "--lowest-fret", type=int, metavar="FRET", default=0, help="no fretted note below it"
    )
    group.add_argument(
        "--highest-fret", "--max-fret", type=int, metavar="FRET", help="no note above it"
    )
    group.add_argument(
        "--strings", metavar="1,2", help="only these strings: 1,2 (1 is the top line)"
    )
    group.add_argument("--one-string", action="store_true", help="the whole melody on one string")
    group.add_argument(
        "--position", type=int, metavar="FRET", help="hold the index finger at this fret"
    )
    group.add_argument("--no-shift", action="store_true", help="hold the hand in one position")
    group.add_argument(
        "--start",
        metavar="PLACE",
        help="place of the first note: string-fret or string-fret-finger",
    )
    group.add_argument(
        "--accidentals",
        type=int,
        metavar="N",
        help="where a key is chosen, only keys of at most N sharps or flats",
    )


def _weights(arguments: argparse.Namespace, instrument: Instrument) -> Weights:
    """The instrument's usual prices, with those replaced that the arguments set."""
    usual = usual_weights(instrument, arguments.playing)
    return usual.set(arguments.weights) if arguments.weights else usual


def value_from(arguments: argparse.Namespace, kind: type[V], **given: object) -> V:
    """A value whose fields are what is *given*, and else the options of their names."""
    options = {name: getattr(arguments, name) for name in kind.__match_args__ if name not in given}
    return kind(**options, **given)


def _limits(arguments: argparse.Namespace) -> Limits:
    """The limits the arguments set."""
    start = Start.parse(arguments.start) if arguments.start else None
    strings = _numbers(arguments.strings, "--strings")
    return value_from(arguments, Limits, start=start, strings=strings)


def _numbers(text: str | None, option: str) -> tuple[int, ...] | None:
    if text is None:
        return None
    try:
        return tuple(int(word) for word in text.split(","))
    except ValueError:
        raise RequestError(f'{option} takes numbers such as 1,2, not "{text[:40]}"') from None


def setup_from(arguments: argparse.Namespace, instrument: Instrument | None = None) -> Setup:
    """All that :func:`add_instrument_options` and :func:`add_hand_options` ask.

    *instrument* is used where it is already known.
    """
    instrument = instrument or instrument_from(arguments)
    return Setup(
        instrument,
        with_reach(hand_named(arguments.hand or instrument.hand), arguments.reach),
        _weights(arguments, instrument),
        _limits(arguments),
        objective=arguments.objective,
        repeats=arguments.repeats,
    )


def arrangement_from(arguments: argparse.Namespace) -> Arrangement:
    """The melody of the arguments on their setup; what must be said about it becomes a remark."""
    found = arrange(melody_from(arguments), setup_from(arguments))
    found = replace(found, remarks=(*found.remarks, *lower_octave(found)))
    arguments.remarks.extend(map(str, found.remarks))
    return found


def add_sound_options(parser: argparse.ArgumentParser) -> None:
    """How a melody sounds when it is written as sound."""
    group = parser.add_argument_group("sound (turn the volume down first)")
    group.add_argument("--tempo", type=float, metavar="BPM", help="beats a minute")
    group.add_argument("--count-in", action="store_true", help="clicks for a bar before it")
    group.add_argument("--drone", action="store_true", help="the tonic softly under it")
    group.add_argument(
        "--call-and-answer", action="store_true", help="after each phrase as long a silence"
    )
    group.add_argument("--call", type=int, metavar="BARS", help="the same after so many bars")
    group.add_argument(
        "--clicks", action="store_true", help="clicks on the beats, in the silences too"
    )


def sound_plan_from(arguments: argparse.Namespace) -> SoundPlan:
    """How the arguments want the melody to sound."""
    from fretpath.page.sound import SoundPlan

    return value_from(arguments, SoundPlan)


def add_width_option(parser: argparse.ArgumentParser) -> None:
    """How wide the page is; on a terminal as wide as that."""
    parser.add_argument("--width", type=int, default=80, help="characters a line (default 80)")


def add_hide_option(parser: argparse.ArgumentParser) -> None:
    """The blanks that a student fills in."""
    parser.add_argument("--hide", default="", help=f"leave blanks: {', '.join(HIDES)}")


def add_output_options(
    parser: argparse.ArgumentParser, about: str = "write to a file instead"
) -> None:
    """Where the result goes and in which form."""
    parser.add_argument("--json", action="store_true", help="print the result as JSON")
    add_output_file(parser, about)


def add_output_file(parser: argparse.ArgumentParser, about: str) -> None:
    """The file to write, which replaces one of another kind only where that is wished."""
    parser.add_argument("-o", "--output", metavar="FILE", help=about)
    parser.add_argument(
        "--force", action="store_true", help="replace a file that holds something else"
    )


_INSTEAD = {
    **dict.fromkeys((".mp3", ".wav"), "fretpath tab writes sound"),
    **dict.fromkeys(
        KINDS,
        "fretpath convert writes scores (of a text tab once read --melody made melody text of it)",
    ),
    ".pdf": "write the lesson sheet as .html (fretpath sheet) and print it from a browser",
    **dict.fromkeys((".ogg", ".m4a", ".flac"), "write the sound as .wav or .mp3 (fretpath tab)"),
    **dict.fromkeys((".png", ".jpg", ".jpeg", ".gif"), "write the chart as .svg (fretpath neck)"),
    **dict.fromkeys((".doc", ".docx", ".odt", ".xlsx"), "write text as .txt"),
}
"""File names that promise what no command writes, and what to do instead."""


def deliver(arguments: argparse.Namespace, text: str) -> str:
    """The text to print: all of it, or nothing once it is written to the file asked for."""
    if arguments.output in (None, "-"):
        return text
    ending = ending_of(arguments.output)
    if ending in _INSTEAD:
        raise RequestError(f"nothing here writes {ending}: {_INSTEAD[ending]}")
    write_file(arguments.output, text)
    return ""


def as_json(data: Any) -> str:
    """Data as JSON text that reads the same on every run; what steers a terminal by its number."""
    import json

    text = json.dumps(data, indent=2, ensure_ascii=False)
    return STEERING.sub(lambda match: f"\\u{ord(match[0]):04x}", text) + "\n"
