"""The same as the page, as plain data for ``--json`` and for scripts.

**Conventions.**  Dicts, lists, strings and numbers only.  Exact lengths are text (``"3/2"`` beats),
distances are mm, notes and bars count from 1 (bar 0 is a pickup), what is not known is None.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from fretpath.neck.arrangement import Arrangement
from fretpath.page.heading import degree_labels

__all__ = ["arrangement_data"]


def arrangement_data(arrangement: Arrangement, *, degrees: str = "major") -> dict[str, Any]:
    """An arrangement as dicts, lists, strings and numbers.

    Lengths are beats as text (``"3/2"``), distances mm, ``bar`` counts from 1 (0 is a pickup).
    """
    melody, instrument = arrangement.melody, arrangement.instrument
    return {
        "title": melody.title,
        "key": str(melody.key) if melody.key else None,
        "tonic": str(melody.tonic) if melody.tonic else None,
        "octave_chosen": arrangement.octave_chosen,
        "instrument": instrument.name,
        "tuning": instrument.tuning.split(),
        "scale_length_mm": instrument.scale_length,
        "capo": instrument.capo,
        "hand": arrangement.hand.name,
        "degrees_against": degrees,
        "notes": _notes(arrangement, degrees),
        "figures": asdict(arrangement.figures),
        "cost": arrangement.cost,
    }


def _notes(arrangement: Arrangement, degrees: str) -> list[dict[str, Any]]:
    melody = arrangement.melody
    labels = degree_labels(melody, degrees=degrees)
    columns = zip(
        melody.struck, melody.pitches, labels, melody.lengths, arrangement.fingerings, strict=True
    )
    rows: list[dict[str, Any]] = []
    before = None
    for event, pitch, label, length, fingering in columns:
        rows.append(
            {
                "bar": melody.bar_numbers[event],
                "onset": str(melody.onsets[event]),
                "length": str(length),
                "note": str(pitch),
                "midi": pitch.midi,
                "degree": label or None,
                "interval": str(pitch - before) if before else None,
                **asdict(fingering),
            }
        )
        before = pitch
    return rows
