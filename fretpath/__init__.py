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
from fretpath.neck.alternatives import Reason, describe, reasons, ways
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

__all__ = [
    "HANDS",
    "INSTRUMENTS",
    "SCALES",
    "Arrangement",
    "Degree",
    "Figures",
    "Fingering",
    "FretpathError",
    "Hand",
    "Instrument",
    "Interval",
    "Key",
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
    "ScoreFileError",
    "Start",
    "UnplayableError",
    "Weights",
    "Wishes",
    "arrange",
    "arrange_many",
    "describe",
    "format_melody",
    "hand_named",
    "instrument_named",
    "parse_melody",
    "reasons",
    "render_tab",
    "replan",
    "ways",
]

__version__ = "0.1.0"
