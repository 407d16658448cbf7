"""What is played, with no instrument yet.

Reading order: :mod:`~fretpath.music.pitch`, :mod:`~fretpath.music.key`,
:mod:`~fretpath.music.melody`, :mod:`~fretpath.music.notation`; then what a teacher says about it:
:mod:`~fretpath.music.spelling` and :mod:`~fretpath.music.syllables`,
:mod:`~fretpath.music.scales`, :mod:`~fretpath.music.departures` (with
:mod:`~fretpath.music.passage`, :mod:`~fretpath.music.outside`, :mod:`~fretpath.music.sections`
and :mod:`~fretpath.music.accounts`), :mod:`~fretpath.music.keyfinding`,
:mod:`~fretpath.music.transposing`.
"""
