"""The order in which a score is played: repeats, endings, da capo, dal segno, coda and fine.

**Theory** (common practice; MusicXML 4.0, elements ``repeat``, ``ending`` and ``sound``; ABC 2.1,
4.8 to 4.10).  A repeat without a sign of its own where it begins goes back to the end of the one
before, or to the start.  Each turn takes the ending with its number.  After a jump (da capo, dal
segno) repeats are not taken again, the last ending is played, ``fine`` ends the piece and ``to
coda`` leads to the coda.

**What is done about it.**  The order is found by playing (:func:`play_order`).  Where it is one
that plain repeats can tell (:class:`~fretpath.music.melody.Repeat`), they are kept; where it is
not (a jump, a repeat in a repeat), the piece is written out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

from fretpath.errors import RequestError
from fretpath.exchange.door import LIMITS, check_count
from fretpath.music.melody import Repeat, order_of_play

SignKind = Literal[
    "bar", "key", "meter", "tempo", "phrase", "start", "stop", "ending", "ending stop",
    "segno", "coda", "to coda", "fine", "da capo", "dal segno",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign of a score between two sounds."""

    at: int
    """Index of the sound it stands before."""
    kind: SignKind
    """What it is; ``start`` and ``stop`` are the signs of a repeat."""
    value: Any = None
    """A Key, a Meter, a tempo in quarter notes a minute, how often a ``stop`` is played in all,
    or the numbers of an ``ending``."""


# What is done first where several stand together; from _HERE on also after a jump to the place.
_RANK = {
    kind: rank
    for rank, kind in enumerate(
        ("stop", "ending stop", "to coda", "fine", "da capo", "dal segno", "coda", "segno",
         "start", "ending")
    )
}  # fmt: skip
_HERE = _RANK["coda"]


def road_signs(signs: Sequence[Sign]) -> list[Sign]:
    """The signs that tell what is played when, in order."""
    found = [sign for sign in signs if sign.kind in _RANK]
    codas = [sign for sign in found if sign.kind == "coda"]
    if len(codas) == 2 and not any(sign.kind == "to coda" for sign in found):
        found[found.index(codas[0])] = Sign(codas[0].at, "to coda")  # one sign for both ends
    return sorted(found, key=lambda sign: (sign.at, _RANK[sign.kind]))


def play_order(signs: Sequence[Sign], count: int, name: str) -> list[range]:
    """Ranges of ``count`` sounds in the order of playing."""
    player = _Player(road_signs(signs), count, name)
    player.play()
    return _joined(player.order)


def repeats_of(signs: Sequence[Sign], count: int, name: str) -> tuple[Repeat, ...] | None:
    """The repeats that tell the same as the signs, or None where plain repeats cannot."""
    try:
        found = tuple(_plain_repeats(road_signs(signs), count))
    except RequestError:  # an ending without notes, or a hundred turns
        return None
    same = _joined([span for part in order_of_play(found, count) for span in _ranges(part)])
    return found if same == play_order(signs, count, name) else None


def _ranges(events: Sequence[int]) -> Iterator[range]:
    """Events in the order of playing as ranges."""
    cuts = [i for i, (a, b) in enumerate(pairwise(events), start=1) if b != a + 1]
    for start, stop in pairwise((0, *cuts, len(events))):
        if start < stop:
            yield range(events[start], events[stop - 1] + 1)


def _joined(order: Sequence[range]) -> list[range]:
    joined: list[range] = []
    for span in order:
        if joined and joined[-1].stop == span.start:
            joined[-1] = range(joined[-1].start, span.stop)
        elif span:
            joined.append(span)
    return joined


def _plain_repeats(signs: Sequence[Sign], count: int) -> Iterator[Repeat]:
    start = 0
    endings: list[int] = []
    for sign in (*signs, Sign(count, "start")):
        over = sign.kind in ("start", "stop", "ending stop") and not _goes_on(signs, sign.at)
        if endings and endings[-1] < sign.at and over:
            if len(endings) > 1 or sign.kind == "stop":
                yield Repeat(start, sign.at, len(endings), tuple(endings))
            start, endings = sign.at, []
        elif sign.kind == "stop" and not endings and start < sign.at:
            yield Repeat(start, sign.at, sign.value)
            start = sign.at
        if sign.kind == "start":
            start = sign.at
        elif sign.kind == "ending":
            endings.append(sign.at)


def _goes_on(signs: Sequence[Sign], at: int) -> bool:
    return any(sign.at == at and sign.kind == "ending" and 1 not in sign.value for sign in signs)


class _Player:
    """Somebody who plays from the signs."""

    def __init__(self, signs: Sequence[Sign], count: int, name: str) -> None:
        self.signs = signs
        self.count = count
        self.name = name
        self.order: list[range] = []
        self.begin = self.start = 0
        self.turn = 1
        self.jumped = False

    def play(self) -> None:
        """Fill the order."""
        at, played, index = 0, 0, 0
        first = 0
        while index < len(self.signs):
            sign = self.signs[index]
            to = self._obey(sign) if sign.at > at or _RANK[sign.kind] >= first else None
            if to is None:
                index += 1
                if index < len(self.signs) and self.signs[index].at > sign.at:
                    first = 0
                continue
            self.order.append(range(self.begin, sign.at))
            played += sign.at - self.begin + 1
            if played > LIMITS["notes"]:
                check_count(played, "notes", f"{self.name}, its repeats written out,")
            self.begin = at = to
            first = _HERE
            index = next((i for i, s in enumerate(self.signs) if s.at >= to), len(self.signs))
            if to == self.count:
                return
        self.order.append(range(self.begin, self.count))

    def _obey(self, sign: Sign) -> int | None:
        """Where to go on from a sign; None is straight on."""
        act = getattr(self, "_" + sign.kind.replace(" ", "_"))
        to: int | None = act(sign)
        return to

    def _stop(self, sign: Sign) -> int | None:
        later = [n for s in self._at(sign.at, "ending") for n in s.value]
        turns = max(later) if later and min(later) > 1 else sign.value
        if not self.jumped and self.turn < turns and self.start < sign.at:
            self.turn += 1
            return self.start
        self.turn, self.start = 1, sign.at
        return None

    def _ending_stop(self, sign: Sign) -> None:
        if not any(1 not in s.value for s in self._at(sign.at, "ending")):
            self.turn, self.start = 1, sign.at

    def _start(self, sign: Sign) -> None:
        if sign.at != self.start:
            self.turn, self.start = 1, sign.at

    def _ending(self, sign: Sign) -> int | None:
        later = self._later_endings(sign.at)
        if self.jumped:
            return later[-1].at if later else None
        if self.turn in sign.value:
            return None
        if 1 in sign.value and not later and self.turn == 1:
            return None
        wanted = [s.at for s in later if self.turn in s.value]
        if wanted:
            return wanted[0]
        stops = [s.at for s in self.signs if s.at > sign.at and s.kind in ("stop", "ending stop")]
        self.turn, self.start = 1, stops[0] if stops else self.start
        return stops[0] if stops else None

    def _segno(self, sign: Sign) -> None:
        del sign

    _coda = _segno

    def _fine(self, sign: Sign) -> int | None:
        del sign
        return self.count if self.jumped else None

    def _to_coda(self, sign: Sign) -> int | None:
        codas = [s.at for s in self.signs if s.kind == "coda" and s.at >= sign.at]
        return codas[0] if self.jumped and codas else None

    def _da_capo(self, sign: Sign) -> int | None:
        del sign
        return self._jump(0)

    def _dal_segno(self, sign: Sign) -> int | None:
        places = [s.at for s in self.signs if s.kind == "segno" and s.at < sign.at]
        return self._jump(places[-1]) if places else None

    def _jump(self, to: int) -> int | None:
        if self.jumped:
            return None
        self.jumped, self.start, self.turn = True, to, 1
        return to

    def _at(self, at: int, kind: str) -> list[Sign]:
        return [sign for sign in self.signs if sign.at == at and sign.kind == kind]

    def _later_endings(self, at: int) -> list[Sign]:
        """The endings of the same group that stand behind a place."""
        found: list[Sign] = []
        for sign in self.signs:
            if sign.at > at and sign.kind in ("start", "segno", "da capo", "dal segno"):
                break
            if sign.at > at and sign.kind == "ending":
                if 1 in sign.value:
                    break
                found.append(sign)
        return found
