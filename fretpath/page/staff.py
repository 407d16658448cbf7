"""Staff notation as a drawing: engraved by a library, verovio, from MusicXML.

The only door to that library, which is an optional extra (``pip install fretpath[staff]``).
"""

from __future__ import annotations

import re
from typing import Any
from xml.etree import ElementTree
from zlib import crc32

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
    seed = crc32(musicxml) >> 1  # a larger one than 2**31 - 1 is passed over
    toolkit.setOptions(_OPTIONS | {"xmlIdSeed": seed})
    if not toolkit.loadData(_one_staff(musicxml)):
        raise RequestError("the library that engraves staff notation cannot read this tune")
    svg = str(toolkit.renderToSVG(1))
    body = re.sub(r"<desc.*?</desc>", "", svg[svg.index("<svg") :], flags=re.DOTALL)
    return body.replace("<svg", '<svg aria-hidden="true"', 1)


def staff_height(svg: str, width: float) -> float:
    """The height in mm of a drawing that is so many mm wide."""
    box = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)
    return float(box[2]) / float(box[1]) * width if box else 0.0


_SHARPS = "FCGDAEB"
_ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}


def _add_accidentals(root: ElementTree.Element) -> None:
    """The sign of every note that the key and the bar do not tell: verovio draws what is written.

    A sign holds to the end of its bar, for its own octave; a tied note needs none.
    """
    signature: dict[str, int] = {}
    for measure in root.iter("measure"):
        told: dict[tuple[str, str], int] = {}
        for element in measure:
            fifths = element.findtext("key/fifths")
            if fifths is not None:
                signature = _signature(int(fifths))
            pitch = element.find("pitch")
            if pitch is None or element.find("tie[@type='stop']") is not None:
                continue
            step, octave = pitch.findtext("step", ""), pitch.findtext("octave", "")
            alter = int(pitch.findtext("alter", "0"))
            written = element.find("accidental") is not None
            if alter != told.get((step, octave), signature.get(step, 0)) and not written:
                ElementTree.SubElement(element, "accidental").text = _ACCIDENTALS.get(alter, "")
            told[step, octave] = alter


def _signature(fifths: int) -> dict[str, int]:
    """Letter to alteration for so many sharps, or flats where it is negative."""
    return {letter: (fifths - place + 6) // 7 for place, letter in enumerate(_SHARPS)}


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
    _add_accidentals(root)
    return ElementTree.tostring(root, encoding="unicode")
