"""What is played, with no instrument yet.

Reading order: :mod:`~fretpath.music.pitch`, :mod:`~fretpath.music.key`,
:mod:`~fretpath.music.melody`, :mod:`~fretpath.music.notation`.
"""
