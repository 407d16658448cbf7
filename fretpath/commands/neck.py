"""Draw a neck chart of a key, a mode, a chord or a melody, as text or as SVG (-o chart.svg)."""

from __future__ import annotations

import argparse
import re
from dataclasses import asdict, replace

from fretpath.commands.options import (
    add_hand_options,
    add_hide_option,
    add_instrument_options,
    add_melody_options,
    add_output_options,
    add_width_option,
    arrangement_from,
    as_json,
    deliver,
    instrument_from,
    setup_from,
)
from fretpath.errors import RequestError
from fretpath.music.key import Key
from fretpath.neck.setup import Limits
from fretpath.page.chart import SPACINGS, Chart, chart_svg, render_chart
from fretpath.page.neck_charts import LABELS, chord_chart, key_chart, melody_chart
from fretpath.page.rows import Blanks


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_melody_options(parser, needed=False)
    parser.add_argument("--chord", help="a chord such as Am7 instead of a melody or a key")
    parser.add_argument("--range", help="frets to show, such as 5-9")
    parser.add_argument("--label", choices=LABELS, default="degree", help="what the marks carry")
    parser.add_argument(
        "--spacing",
        choices=SPACINGS,
        help="frets as on the neck (usual in a drawing) or even (usual in text)",
    )
    parser.add_argument("--left-handed", action="store_true", help="the nut on the right")
    add_hide_option(parser)
    add_width_option(parser)
    add_output_options(parser)
    add_instrument_options(parser)
    add_hand_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """The chart as text, as JSON, or as SVG when the output file is named so."""
    chart = replace(_chart(arguments), left_handed=arguments.left_handed)
    if arguments.range:
        chart = chart.between(*_range(arguments.range))
    if arguments.json:
        return deliver(arguments, as_json(_data(chart)))
    if str(arguments.output or "").lower().endswith(".svg"):
        spacing = arguments.spacing or "neck"
        return deliver(arguments, chart_svg(chart, spacing=spacing))
    if arguments.width < 40:
        raise RequestError(f"a page is at least 40 characters wide, not {arguments.width}")
    spacing = arguments.spacing or "even"
    text = render_chart(chart, width=arguments.width, spacing=spacing)
    return deliver(arguments, text)


def _chart(arguments: argparse.Namespace) -> Chart:
    if arguments.melody:
        if arguments.chord:
            raise RequestError("a chart shows a melody or a chord; drop one of the two")
        _refuse_a_key(" ".join(arguments.melody))
        return melody_chart(
            arrangement_from(arguments),
            label=arguments.label,
            degrees=arguments.degrees,
            hide=Blanks.parse(arguments.hide),
        )
    if arguments.hide:
        raise RequestError("--hide leaves out notes of a melody; give one")
    if bool(arguments.chord) == bool(arguments.key):
        raise RequestError('say what to show: a melody, --key "D dorian", or --chord Am7')
    if arguments.card is None and setup_from(arguments).limits != Limits():
        raise RequestError(
            "limits such as --highest-fret are for a melody; --range 0-5 says which frets to show"
        )
    instrument = instrument_from(arguments)
    if arguments.chord:
        return chord_chart(arguments.chord, instrument, label=arguments.label)
    return key_chart(Key.parse(arguments.key), instrument, label=arguments.label)


def _refuse_a_key(words: str) -> None:
    """``neck "C major"`` is a slip for ``--key "C major"``: a melody has no such word in it."""
    if re.fullmatch(r"[A-G][#b]? ?[a-z ]{3,}", words):
        raise RequestError(f'for the chart of a key write --key "{words[:40]}"')


def _range(text: str) -> tuple[int, int]:
    match = re.fullmatch(r"(\d{1,2})-(\d{1,2})", text.strip())
    if match is None:
        raise RequestError(f'a range of frets is written 5-9, not "{text[:40]}"')
    return int(match[1]), int(match[2])


def _data(chart: Chart) -> dict[str, object]:
    return {
        "title": chart.title,
        "instrument": chart.instrument.name,
        "frets": [chart.first, chart.last],
        "label": chart.label,
        "marks": [
            asdict(mark) | {"distance_mm": round(chart.instrument.distance(mark.fret), 3)}
            for mark in chart.shown
        ],
        "positions": [{"from_note": note, "position": place} for note, place in chart.positions],
    }
