"""What is handed out: text in the trade's own forms.

Reading order:

- the tab and the words around it: :mod:`~fretpath.page.blanks`, :mod:`~fretpath.page.grid`,
  :mod:`~fretpath.page.counting`, :mod:`~fretpath.page.heading`, :mod:`~fretpath.page.tab`,
  :mod:`~fretpath.page.data`, :mod:`~fretpath.page.spoken`, :mod:`~fretpath.page.ways`;
- the neck chart: :mod:`~fretpath.page.marks`, :mod:`~fretpath.page.chart_text`,
  :mod:`~fretpath.page.chart_svg`, :mod:`~fretpath.page.chart`, :mod:`~fretpath.page.notebook`;
- the lesson sheet: :mod:`~fretpath.page.sound`, :mod:`~fretpath.page.questions`,
  :mod:`~fretpath.page.html`, :mod:`~fretpath.page.sheet`;
- pages about a tune: :mod:`~fretpath.page.departures`, :mod:`~fretpath.page.spelling`,
  :mod:`~fretpath.page.scales`, :mod:`~fretpath.page.keys`, :mod:`~fretpath.page.transposition`;
- a tab read back: :mod:`~fretpath.page.tabtext`, :mod:`~fretpath.page.tabmelody`,
  :mod:`~fretpath.page.tabcheck`.
"""
