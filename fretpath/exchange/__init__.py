"""Open file formats in and out, through music21.

Reading order:

- what a file is, and whether to open it: :mod:`~fretpath.exchange.kinds`,
  :mod:`~fretpath.exchange.safety`;
- from a score to a melody: :mod:`~fretpath.exchange.values`, :mod:`~fretpath.exchange.assemble`,
  :mod:`~fretpath.exchange.marks`, :mod:`~fretpath.exchange.voices`,
  :mod:`~fretpath.exchange.abc_reading`, :mod:`~fretpath.exchange.midi_reading`;
- one format a module, written: :mod:`~fretpath.exchange.abc`, :mod:`~fretpath.exchange.midi`,
  :mod:`~fretpath.exchange.musicxml`;
- any format: :mod:`~fretpath.exchange.scores`, :mod:`~fretpath.exchange.writing`.
"""
