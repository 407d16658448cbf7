"""Staff notation as a drawing: engraved by a library, verovio, from MusicXML.

The only door to that library, which is an optional extra (``pip install fretpath[staff]``).
"""

from __future__ import annotations

import re
from typing import Any
from xml.etree import ElementTree

from fretpath.errors import RequestError

_OPTIONS: dict[str, Any] = {
    "pageWidth": 2100,
    "pageHeight": 60000,
    "pageMarginLeft": 0,
    "pageMarginRight": 0,
    "pageMarginTop": 10,
    "pageMarginBottom": 10,
    "adjustPageHeight": True,
    "breaks": "auto",
    "header": "none",
    "footer": "none",
    "svgViewBox": True,
    "removeIds": True,
}


def staff_svg(musicxml: bytes) -> str:
    """MusicXML as one SVG element, as wide as a side of paper.

    Raises :class:`RequestError` where the library is not installed or cannot read it.
    """
    try:
        import verovio
    except ImportError:
        raise RequestError(
            "staff notation is engraved by the library verovio, which is not installed: "
            "pip install verovio, or leave --staff out"
        ) from None
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions(_OPTIONS)
    if not toolkit.loadData(_one_staff(musicxml)):
        raise RequestError("the library that engraves staff notation cannot read this tune")
    svg = str(toolkit.renderToSVG(1))
    body = re.sub(r"<desc.*?</desc>", "", svg[svg.index("<svg") :], flags=re.DOTALL)
    return body.replace("<svg", '<svg aria-hidden="true"', 1)


def staff_height(svg: str, width: float) -> float:
    """The height in mm of a drawing that is so many mm wide."""
    box = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)
    return float(box[2]) / float(box[1]) * width if box else 0.0


def _one_staff(musicxml: bytes) -> str:
    """The score without its tab staff and the name of its part: the page draws the tab itself."""
    root = ElementTree.fromstring(musicxml)
    for measure in root.iter("measure"):
        second = [part for part in measure if part.findtext("staff") == "2"]
        for part in [*second, *measure.findall("backup")]:
            measure.remove(part)
        for attributes in measure.iter("attributes"):
            for part in [*attributes.findall("staves"), *attributes.findall("staff-details")]:
                attributes.remove(part)
            for clef in attributes.findall("clef[@number='2']"):
                attributes.remove(clef)
    for name in root.iter("part-name"):
        name.text = ""
    return ElementTree.tostring(root, encoding="unicode")
