"""Where it is played.

Reading order:

- the neck and the hand: :mod:`~fretpath.neck.instrument`, :mod:`~fretpath.neck.catalogue`,
  :mod:`~fretpath.neck.hand`, :mod:`~fretpath.neck.states`;
- what is asked of them, and what a step costs: :mod:`~fretpath.neck.wishes`,
  :mod:`~fretpath.neck.costs`, :mod:`~fretpath.neck.pace`;
- the shortest path: :mod:`~fretpath.neck.search`, :mod:`~fretpath.neck.planner`,
  :mod:`~fretpath.neck.figures`, :mod:`~fretpath.neck.arrangement`, :mod:`~fretpath.neck.advice`,
  :mod:`~fretpath.neck.tries`, :mod:`~fretpath.neck.refusal`, :mod:`~fretpath.neck.arranging`;
- other paths: :mod:`~fretpath.neck.alternatives`, :mod:`~fretpath.neck.lattice`,
  :mod:`~fretpath.neck.keychoice`, :mod:`~fretpath.neck.transposition`,
  :mod:`~fretpath.neck.patterns`.
"""
