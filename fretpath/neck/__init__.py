"""Where it is played.

Reading order: :mod:`~fretpath.neck.instrument`, :mod:`~fretpath.neck.catalogue`,
:mod:`~fretpath.neck.hand`, :mod:`~fretpath.neck.states`, :mod:`~fretpath.neck.costs`,
:mod:`~fretpath.neck.search`, :mod:`~fretpath.neck.arrangement`, :mod:`~fretpath.neck.lattice`;
then :mod:`~fretpath.neck.keychoice`, :mod:`~fretpath.neck.transposition` and
:mod:`~fretpath.neck.patterns`.
"""
