"""The same as the page, as plain data for ``--json`` and for scripts.

**Conventions.**  Dicts, lists, strings and numbers only.  Exact lengths are text (``"3/2"`` beats),
distances are mm, notes and bars count from 1 (bar 0 is a pickup), what is not known is None.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from fretpath.neck.arrangement import Arrangement
from fretpath.page.rows import ALL_ROWS, Subject
from fretpath.values import to_dict


def arrangement_data(arrangement: Arrangement, *, degrees: str = "major") -> dict[str, Any]:
    """An arrangement as its own plain data (``from_dict`` reads it back) and what the page shows.

    Lengths are beats as text (``"3/2"``), distances mm, ``bar`` counts from 1 (0 is a pickup).
    """
    melody, instrument = arrangement.melody, arrangement.instrument
    return {
        **to_dict(arrangement),
        "title": melody.title,
        "key": str(melody.key) if melody.key else None,
        "tonic": str(melody.tonic) if melody.tonic else None,
        "instrument": instrument.name,
        "tuning": instrument.tuning.split(),
        "scale_length_mm": instrument.scale_length,
        "capo": instrument.capo,
        "hand": arrangement.hand.name,
        "degrees_against": degrees,
        "notes": notes_data(Subject(melody, arrangement, degrees)),
        "figures": asdict(arrangement.figures),
    }


def notes_data(subject: Subject) -> list[dict[str, Any]]:
    """Every struck note with its rows by name (:data:`fretpath.page.rows.ALL_ROWS`)."""
    melody = subject.melody
    found = []
    for note, event in enumerate(melody.struck):
        spot = subject.spot(event)
        place = {"string": spot.fingering.string} if spot.fingering else {}
        found.append(
            {
                "onset": str(melody.onsets[event]),
                "length": str(melody.lengths[note]),
                "midi": spot.pitch.midi,
                **place,
                **{row.name: row.told(spot) for row in ALL_ROWS},
            }
        )
    return found
