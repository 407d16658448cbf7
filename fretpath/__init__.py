"""fretpath: from a melody in degrees to spelled notes, the shortest path on the neck, and tab.

>>> from fretpath import arrange, parse_melody, render_tab
>>> melody = parse_melody("key: B major\\n\\n1 5 8 9 10")
>>> arrangement = arrange(melody, instrument="bass")
>>> arrangement.frets
(7, 9, 9, 6, 8)

The path through the package, in reading order: ``music`` (what is played), ``neck`` (where),
``page`` (what is handed out), ``lesson`` (what is taught), ``exchange`` (open file formats),
``commands`` (the command line).
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from fretpath.errors import (
    FretpathError,
    MelodySyntaxError,
    NoPathError,
    OutOfRangeError,
    RequestError,
    ScoreFileError,
    UnplayableError,
)
from fretpath.music.key import SCALES, Degree, Key
from fretpath.music.melody import Melody, Meter, Note, Placement
from fretpath.music.notation import format_melody, parse_melody
from fretpath.music.pitch import Interval, Pitch
from fretpath.neck.arrangement import Arrangement, Fingering
from fretpath.neck.arranging import arrange, arrange_many, replan
from fretpath.neck.catalogue import INSTRUMENTS, instrument_named
from fretpath.neck.costs import Weights
from fretpath.neck.figures import Figures
from fretpath.neck.hand import HANDS, Hand, hand_named
from fretpath.neck.instrument import Instrument
from fretpath.neck.wishes import Start, Wishes
from fretpath.page import notebook as _notebook  # noqa: F401  (shows arrangements in notebooks)
from fretpath.page.tab import render_tab

if TYPE_CHECKING:
    from fretpath.lesson.drill import look_alikes
    from fretpath.lesson.find import Wanted, find_in
    from fretpath.lesson.folder import Tune, tune_of
    from fretpath.lesson.marking import Marking, mark
    from fretpath.lesson.measures import EarMeasures, ear_measures
    from fretpath.lesson.order import by_ear, by_hand
    from fretpath.lesson.practice import hardest_shift, tempo_ladder
    from fretpath.music.departures import Departure, ScaleReading, read_scales
    from fretpath.music.keyfinding import KeyGuess, find_key
    from fretpath.music.outside import Account
    from fretpath.music.scales import scales_holding
    from fretpath.music.spelling import SpelledNote, spell
    from fretpath.neck.alternatives import Reason, describe, reasons, ways
    from fretpath.neck.keychoice import KeyChoice, rank_keys
    from fretpath.neck.patterns import patterns_of
    from fretpath.neck.transposition import Transposition, transpose

__all__ = [
    "HANDS",
    "INSTRUMENTS",
    "SCALES",
    "Account",
    "Arrangement",
    "Degree",
    "Departure",
    "EarMeasures",
    "Figures",
    "Fingering",
    "FretpathError",
    "Hand",
    "Instrument",
    "Interval",
    "Key",
    "KeyChoice",
    "KeyGuess",
    "Marking",
    "Melody",
    "MelodySyntaxError",
    "Meter",
    "NoPathError",
    "Note",
    "OutOfRangeError",
    "Pitch",
    "Placement",
    "Reason",
    "RequestError",
    "ScaleReading",
    "ScoreFileError",
    "SpelledNote",
    "Start",
    "Transposition",
    "Tune",
    "UnplayableError",
    "Wanted",
    "Weights",
    "Wishes",
    "arrange",
    "arrange_many",
    "by_ear",
    "by_hand",
    "describe",
    "ear_measures",
    "find_in",
    "find_key",
    "format_melody",
    "hand_named",
    "hardest_shift",
    "instrument_named",
    "look_alikes",
    "mark",
    "parse_melody",
    "patterns_of",
    "rank_keys",
    "read_scales",
    "reasons",
    "render_tab",
    "replan",
    "scales_holding",
    "spell",
    "tempo_ladder",
    "transpose",
    "tune_of",
    "ways",
]

__version__ = "0.1.0"

# Imported when first asked for, so that a command starts fast.
_LATER = {
    "fretpath.lesson.drill": ("look_alikes",),
    "fretpath.lesson.find": ("Wanted", "find_in"),
    "fretpath.lesson.folder": ("Tune", "tune_of"),
    "fretpath.lesson.marking": ("Marking", "mark"),
    "fretpath.lesson.measures": ("EarMeasures", "ear_measures"),
    "fretpath.lesson.order": ("by_ear", "by_hand"),
    "fretpath.lesson.practice": ("hardest_shift", "tempo_ladder"),
    "fretpath.music.outside": ("Account",),
    "fretpath.music.departures": ("Departure", "ScaleReading", "read_scales"),
    "fretpath.music.keyfinding": ("KeyGuess", "find_key"),
    "fretpath.music.scales": ("scales_holding",),
    "fretpath.music.spelling": ("SpelledNote", "spell"),
    "fretpath.neck.alternatives": ("Reason", "describe", "reasons", "ways"),
    "fretpath.neck.keychoice": ("KeyChoice", "rank_keys"),
    "fretpath.neck.patterns": ("patterns_of",),
    "fretpath.neck.transposition": ("Transposition", "transpose"),
}
_HOME = {name: module for module, names in _LATER.items() for name in names}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)
