"""fretpath: from a melody in degrees to spelled notes, the shortest path on the neck, and tab.

>>> from fretpath import arrange, parse_melody, render_tab
>>> melody = parse_melody("key: B major\\n\\n1 5 8 9 10")
>>> arrangement = arrange(melody, "bass")
>>> arrangement.frets
(7, 9, 9, 6, 8)

The path through the package, in reading order: ``music`` (what is played), ``neck`` (where),
``page`` (what is handed out), ``lesson`` (what is taught), ``exchange`` (open file formats),
``commands`` (the command line).
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from fretpath.errors import (
    AmbiguousTextError,
    ArrangementError,
    FretpathError,
    MelodySyntaxError,
    NoPathError,
    OutOfRangeError,
    RequestError,
    ScoreFileError,
    UnplayableError,
)
from fretpath.music.key import SCALES, Degree, Key, Scale
from fretpath.music.melody import Melody, Meter, Note, Placement, Repeat
from fretpath.music.notation import format_melody, parse_melody
from fretpath.music.pitch import Interval, Pitch
from fretpath.neck.arrange import arrange, arrange_many, iter_arrange, replan
from fretpath.neck.arrangement import Arrangement, Figures
from fretpath.neck.catalogue import INSTRUMENTS, instrument_named
from fretpath.neck.hand import HANDS, Fingering, Hand, Reach, hand_named
from fretpath.neck.instrument import Instrument, Playing, String
from fretpath.neck.planner import clear_caches
from fretpath.neck.setup import (
    Card,
    Limits,
    Objective,
    OpenStrings,
    RepeatFingering,
    Setup,
    Start,
    format_card,
)
from fretpath.neck.terms import Weights
from fretpath.page import notebook as _notebook  # noqa: F401  (shows arrangements in notebooks)
from fretpath.page.tab import render_tab
from fretpath.remarks import Remark
from fretpath.values import from_dict, schema_of, to_dict

if TYPE_CHECKING:
    from fretpath.exchange.door import read_card
    from fretpath.exchange.hearing import Heard, Pluck, hear, hear_recording, melody_heard
    from fretpath.exchange.melody_of_voice import Reading
    from fretpath.exchange.scores import (
        Book,
        melody_from_music21,
        open_book,
        read_score,
        score_bytes,
    )
    from fretpath.lesson.answers import Answer, read_answer
    from fretpath.lesson.diagnosis import Diagnosis, Mistake
    from fretpath.lesson.drill import Question, questions_of
    from fretpath.lesson.find import Wanted, find_in
    from fretpath.lesson.marking import Marking, Points, mark, mark_best
    from fretpath.lesson.order import Lesson, by_ear, by_hand
    from fretpath.lesson.packet import TermPlan, TermWeek, plan_term
    from fretpath.lesson.practice import hardest_shift, tempo_ladder
    from fretpath.lesson.record import AskedNote, confusions, format_record, parse_record
    from fretpath.lesson.tune import EarMeasures, Tune, ear_measures, tune_of
    from fretpath.music.departures import Account, Departure, ScaleReading, read_scales
    from fretpath.music.keyfinding import KeyGuess, find_key
    from fretpath.music.loose import read_loosely
    from fretpath.music.scales import scales_holding
    from fretpath.music.spelling import SpelledNote, spell
    from fretpath.neck.keychoice import KeyChoice, Shape, Transposition, rank_keys, transpose
    from fretpath.neck.lattice import lattice
    from fretpath.neck.learning import HandFit, learn_hand
    from fretpath.neck.patterns import Pattern, patterns_of
    from fretpath.neck.ways import Reason, describe, reasons, ways
    from fretpath.page.chart import Chart
    from fretpath.page.neck_charts import chord_chart, key_chart, melody_chart
    from fretpath.page.rows import Blanks, render_spoken
    from fretpath.page.sheet import Look, Sheet, TuneSound, render_sheet, sound_for
    from fretpath.page.sound import SoundPlan, melody_wav
    from fretpath.page.spelling import render_spelling
    from fretpath.page.tab_check import TabCheck, TabFault, check_tab
    from fretpath.page.tab_lines import TabNote
    from fretpath.page.tab_reading import TabReading, read_tab

__all__ = [
    "HANDS",
    "INSTRUMENTS",
    "SCALES",
    "Account",
    "AmbiguousTextError",
    "Answer",
    "Arrangement",
    "ArrangementError",
    "AskedNote",
    "Blanks",
    "Book",
    "Card",
    "Chart",
    "Degree",
    "Departure",
    "Diagnosis",
    "EarMeasures",
    "Figures",
    "Fingering",
    "FretpathError",
    "Hand",
    "HandFit",
    "Heard",
    "Instrument",
    "Interval",
    "Key",
    "KeyChoice",
    "KeyGuess",
    "Lesson",
    "Limits",
    "Look",
    "Marking",
    "Melody",
    "MelodySyntaxError",
    "Meter",
    "Mistake",
    "NoPathError",
    "Note",
    "Objective",
    "OpenStrings",
    "OutOfRangeError",
    "Pattern",
    "Pitch",
    "Placement",
    "Playing",
    "Pluck",
    "Points",
    "Question",
    "Reach",
    "Reading",
    "Reason",
    "Remark",
    "Repeat",
    "RepeatFingering",
    "RequestError",
    "Scale",
    "ScaleReading",
    "ScoreFileError",
    "Setup",
    "Shape",
    "Sheet",
    "SoundPlan",
    "SpelledNote",
    "Start",
    "String",
    "TabCheck",
    "TabFault",
    "TabNote",
    "TabReading",
    "TermPlan",
    "TermWeek",
    "Transposition",
    "Tune",
    "TuneSound",
    "UnplayableError",
    "Wanted",
    "Weights",
    "arrange",
    "arrange_many",
    "by_ear",
    "by_hand",
    "check_tab",
    "chord_chart",
    "clear_caches",
    "confusions",
    "describe",
    "ear_measures",
    "find_in",
    "find_key",
    "format_card",
    "format_melody",
    "format_record",
    "from_dict",
    "hand_named",
    "hardest_shift",
    "hear",
    "hear_recording",
    "instrument_named",
    "iter_arrange",
    "key_chart",
    "lattice",
    "learn_hand",
    "mark",
    "mark_best",
    "melody_chart",
    "melody_from_music21",
    "melody_heard",
    "melody_wav",
    "open_book",
    "parse_melody",
    "parse_record",
    "patterns_of",
    "plan_term",
    "questions_of",
    "rank_keys",
    "read_answer",
    "read_card",
    "read_loosely",
    "read_scales",
    "read_score",
    "read_tab",
    "reasons",
    "render_sheet",
    "render_spelling",
    "render_spoken",
    "render_tab",
    "replan",
    "scales_holding",
    "schema_of",
    "score_bytes",
    "sound_for",
    "spell",
    "tempo_ladder",
    "to_dict",
    "transpose",
    "tune_of",
    "ways",
]

__version__ = "0.1.0"

# Imported when first asked for, so that a command starts fast.
_LATER = {
    "fretpath.exchange.door": ("read_card",),
    "fretpath.exchange.hearing": ("Heard", "Pluck", "hear", "hear_recording", "melody_heard"),
    "fretpath.exchange.scores": (
        "Book",
        "melody_from_music21",
        "open_book",
        "read_score",
        "score_bytes",
    ),
    "fretpath.exchange.melody_of_voice": ("Reading",),
    "fretpath.lesson.answers": ("Answer", "read_answer"),
    "fretpath.lesson.diagnosis": ("Diagnosis", "Mistake"),
    "fretpath.lesson.drill": ("Question", "questions_of"),
    "fretpath.lesson.find": ("Wanted", "find_in"),
    "fretpath.lesson.marking": ("Marking", "Points", "mark", "mark_best"),
    "fretpath.lesson.order": ("Lesson", "by_ear", "by_hand"),
    "fretpath.lesson.packet": ("TermPlan", "TermWeek", "plan_term"),
    "fretpath.lesson.practice": ("hardest_shift", "tempo_ladder"),
    "fretpath.lesson.record": ("AskedNote", "confusions", "format_record", "parse_record"),
    "fretpath.lesson.tune": ("EarMeasures", "Tune", "ear_measures", "tune_of"),
    "fretpath.music.departures": ("Account", "Departure", "ScaleReading", "read_scales"),
    "fretpath.music.keyfinding": ("KeyGuess", "find_key"),
    "fretpath.music.loose": ("read_loosely",),
    "fretpath.music.scales": ("scales_holding",),
    "fretpath.music.spelling": ("SpelledNote", "spell"),
    "fretpath.neck.ways": ("Reason", "describe", "reasons", "ways"),
    "fretpath.neck.keychoice": (
        "KeyChoice",
        "Shape",
        "Transposition",
        "rank_keys",
        "transpose",
    ),
    "fretpath.neck.lattice": ("lattice",),
    "fretpath.neck.learning": ("HandFit", "learn_hand"),
    "fretpath.neck.patterns": ("Pattern", "patterns_of"),
    "fretpath.page.chart": ("Chart",),
    "fretpath.page.neck_charts": ("chord_chart", "key_chart", "melody_chart"),
    "fretpath.page.sheet": ("Look", "Sheet", "TuneSound", "render_sheet", "sound_for"),
    "fretpath.page.sound": ("SoundPlan", "melody_wav"),
    "fretpath.page.spelling": ("render_spelling",),
    "fretpath.page.rows": ("Blanks", "render_spoken"),
    "fretpath.page.tab_check": ("TabCheck", "TabFault", "check_tab"),
    "fretpath.page.tab_lines": ("TabNote",),
    "fretpath.page.tab_reading": ("TabReading", "read_tab"),
}
_HOME = {name: module for module, names in _LATER.items() for name in names}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
