"""HTML pages from templates: everything typed by strangers is escaped, nothing may be missing."""

from __future__ import annotations

import base64
import re
from html import escape
from typing import Any

_SIGNS = {"b": "\u266d", "#": "\u266f"}
_SPELLED = re.compile(
    r"(?<![A-Za-z0-9])(?:([A-Ga-g])([b#]{1,3})(?=m|sus|dim|aug|add|[^A-Za-z]|$)|([b#]{1,3})(?=\d))"
)


def with_signs(text: str) -> str:
    """Accidentals of notes and degrees as flat and sharp signs.

    >>> with_signs("b7 (Bb2), F#m, a b")
    '\u266d7 (B\u266d2), F\u266fm, a b'
    """
    return _SPELLED.sub(
        lambda found: (
            (found[1] or "") + "".join(_SIGNS[sign] for sign in (found[2] or "") + (found[3] or ""))
        ),
        text,
    )


def xml(text: str) -> str:
    """Text as XML 1.0 may carry it (production Char): the few signs it forbids are replaced."""
    return escape(re.sub(r"[^\t\n\r\x20-\uD7FF\uE000-\uFFFD\U00010000-\U0010FFFF]", "\ufffd", text))


def mp3_link(data: bytes) -> str:
    """A whole MP3 file as the address of itself."""
    return f"data:audio/mpeg;base64,{base64.b64encode(data).decode('ascii')}"


def fill_template(package: str, template: str, **words: Any) -> str:
    """A template of a package's ``templates`` folder with its words filled in, as UTF-8 can hold.

    Every package's templates extend ``page.html``, the frame and style of all pages, which stands
    here.  The filters are ``signs``, :func:`with_signs`, and ``mp3``, :func:`mp3_link`.
    """
    from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=ChoiceLoader([PackageLoader(package), PackageLoader("fretpath.page")]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {"signs": with_signs, "mp3": mp3_link}
    page = environment.get_template(template).render(**words)
    return page.encode("utf-8", errors="replace").decode("utf-8")
