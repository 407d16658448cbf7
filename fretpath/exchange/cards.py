"""A student's card in a file."""

from __future__ import annotations

from pathlib import Path

from fretpath.errors import ScoreFileError
from fretpath.neck.card import LARGEST, Card


def read_card(path: str | Path) -> Card:
    """The card in a file, its text in UTF-8.

    Raises :class:`ScoreFileError` where there is no such file or no card in it, and
    :class:`RequestError` with file and line for an entry that is unknown or wrong.
    """
    place = Path(path)
    try:
        with place.open("rb") as file:
            text = file.read(LARGEST + 1).decode("utf-8")
    except FileNotFoundError:
        raise ScoreFileError(f"there is no file {str(path)[:120]}") from None
    except OSError as problem:
        raise ScoreFileError(f"cannot read {str(path)[:120]}: {problem.strerror}") from None
    except UnicodeDecodeError:
        raise ScoreFileError(f"{place.name} is not a card: it is not text in UTF-8") from None
    except ValueError:
        raise ScoreFileError(f"{str(path)[:120]} is not the name of a file") from None
    return Card.parse(text, place.name)
