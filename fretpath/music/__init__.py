"""What is played, with no instrument yet.

Reading order:

- notes in time and the text they are written in: :mod:`~fretpath.music.pitch`,
  :mod:`~fretpath.music.key`, :mod:`~fretpath.music.words`, :mod:`~fretpath.music.melody`,
  :mod:`~fretpath.music.grammar`, :mod:`~fretpath.music.slips`, :mod:`~fretpath.music.lines`,
  :mod:`~fretpath.music.formatting`, :mod:`~fretpath.music.notation`;
- what a teacher says about them: :mod:`~fretpath.music.sounding`,
  :mod:`~fretpath.music.syllables`, :mod:`~fretpath.music.spelling`,
  :mod:`~fretpath.music.scales`, :mod:`~fretpath.music.passage`, :mod:`~fretpath.music.outside`,
  :mod:`~fretpath.music.sections`, :mod:`~fretpath.music.accounts`,
  :mod:`~fretpath.music.departures`;
- the same tune elsewhere: :mod:`~fretpath.music.keyfinding`, :mod:`~fretpath.music.transposing`.
"""
