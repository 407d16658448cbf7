"""What is taught: order, marking, drills.

Reading order:

- a tune measured, a folder in order: :mod:`~fretpath.lesson.function`,
  :mod:`~fretpath.lesson.measures`, :mod:`~fretpath.lesson.material`,
  :mod:`~fretpath.lesson.folder`, :mod:`~fretpath.lesson.order`,
  :mod:`~fretpath.lesson.indented`, :mod:`~fretpath.lesson.orderpage`,
  :mod:`~fretpath.lesson.packet`;
- tunes by what is in them: :mod:`~fretpath.lesson.find`;
- answers marked: :mod:`~fretpath.lesson.marking`, :mod:`~fretpath.lesson.markpage`;
- drills: :mod:`~fretpath.lesson.excerpt`, :mod:`~fretpath.lesson.drill`,
  :mod:`~fretpath.lesson.practice`, :mod:`~fretpath.lesson.drillpage`.
"""
