"""In a notebook an arrangement shows its tab and its neck chart.

The method is attached here and not written in :mod:`fretpath.neck.arrangement`, because the neck
knows nothing of pages.
"""

from __future__ import annotations

from fretpath.neck.arrangement import Arrangement


def arrangement_html(arrangement: Arrangement) -> str:
    """The tab as preformatted text, and the chart as a drawing under it."""
    from html import escape

    from fretpath.page.neck_charts import melody_chart
    from fretpath.page.tab import render_tab

    style = "overflow-x: auto; line-height: 1.2"
    tab = f'<pre style="{style}">{escape(render_tab(arrangement))}</pre>'
    return f"{tab}\n{melody_chart(arrangement).svg}"


setattr(Arrangement, "_repr_html_", arrangement_html)  # noqa: B010
