"""A melody or an arrangement as the bytes of a file in an open format.

The same music gives the same bytes on every run: a compressed file carries one fixed date.
"""

from __future__ import annotations

import io
import zipfile

from fretpath.errors import RequestError
from fretpath.exchange.kinds import KINDS
from fretpath.music.melody import Melody
from fretpath.music.notation import format_melody
from fretpath.neck.arrangement import Arrangement

__all__ = ["ENDINGS", "score_bytes"]

ENDINGS = (*KINDS, ".txt")
"""Endings that can be written; ``.txt`` is melody text."""

_CONTAINER = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
    '<rootfile full-path="score.musicxml" media-type="application/vnd.recordare.musicxml+xml"/>'
    "</rootfiles></container>\n"
)
_SAME_DAY = (1980, 1, 1, 0, 0, 0)


def score_bytes(music: Melody | Arrangement, ending: str) -> bytes:
    """The file: MusicXML (with a tab staff for an arrangement), MIDI, ABC or melody text.

    *ending* is one of :data:`ENDINGS`.  The same music gives the same bytes.  Raises
    :class:`RequestError` for an unknown ending and for what the format cannot hold.
    """
    melody = music.melody if isinstance(music, Arrangement) else music
    if ending in (".musicxml", ".xml"):
        return _musicxml(music)
    if ending == ".mxl":
        return _packed(_musicxml(music))
    if ending in (".mid", ".midi"):
        from fretpath.exchange.midi import write_midi

        program = music.instrument.program if isinstance(music, Arrangement) else 25
        return write_midi(melody, program=program)
    if ending == ".abc":
        from fretpath.exchange.abc import write_abc

        return write_abc(melody).encode("utf-8")
    if ending == ".txt":
        return format_melody(melody).encode("utf-8")
    raise RequestError(f'no format is known for "{ending[:20]}" (known: {", ".join(ENDINGS)})')


def _musicxml(music: Melody | Arrangement) -> bytes:
    from fretpath.exchange.musicxml import write_musicxml

    return write_musicxml(music).encode("utf-8")


def _packed(data: bytes) -> bytes:
    """Compressed MusicXML: the container names the score."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in (
            ("META-INF/container.xml", _CONTAINER.encode()),
            ("score.musicxml", data),
        ):
            archive.writestr(zipfile.ZipInfo(name, _SAME_DAY), content, zipfile.ZIP_DEFLATED)
    return file.getvalue()
