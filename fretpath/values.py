"""Values: fields held to their types, told by ``help()``, and turned into plain data and back.

**Conventions.**  The types written in a class are the one description of a value: by them its
fields are checked where it is made, read from plain data, and described in a JSON Schema.  What is
nearly right is put right (a list for a tuple, a numpy integer, 3 for a fraction, ``"F#2"`` for a
pitch); what is not is a :class:`RequestError` that names the field.

Plain data is dicts, lists, text, numbers, true, false and None.  A value that has a notation of its
own (a pitch, an interval, a degree, a scale, a key, a meter, a place to start) is that text, a
fraction is ``"3/2"``, bytes are base64, a set is a sorted list, and any other value a dict of all
its fields.
"""

from __future__ import annotations

import ast
import inspect
import math
import textwrap
from base64 import b64decode, b64encode
from collections.abc import Callable, Iterable, Iterator, Mapping, Set
from dataclasses import MISSING, Field, fields, is_dataclass
from fractions import Fraction
from functools import cache, partial
from itertools import pairwise
from numbers import Integral, Rational, Real
from operator import index
from types import NoneType, UnionType
from typing import (
    Any,
    ClassVar,
    Literal,
    TypeVar,
    Union,
    cast,
    get_args,
    get_origin,
    get_type_hints,
)

from fretpath.errors import RequestError, nearest

VERSION = 1
"""Version of the plain data; it grows when a field goes or means something else."""
T = TypeVar("T")
Fit = Callable[[Any], Any]
"""From something given to a value of one type; raises :class:`RequestError` if it is none."""


class _Doc:
    """A docstring that tells the fields as well, read from the source when it is asked for."""

    def __init__(self, text: str) -> None:
        self.text = text

    def __get__(self, value: object, kind: type[object]) -> str:
        if "__match_args__" not in vars(kind):
            return self.text
        told = "".join(
            f"\n    {name}: {type_}\n{textwrap.indent(about, ' ' * 8)}"
            for name, type_, about in _field_docs(cast(Any, kind))
        )
        return f"{inspect.cleandoc(self.text)}\n\nFields:\n{told}" if told else self.text


@cache
def _field_docs(kind: Any) -> tuple[tuple[str, str, str], ...]:
    """(name, type, docstring) of each field in the source of a class and of those it builds on."""
    return tuple(each for base in reversed(kind.__mro__[:-1]) for each in _own_field_docs(base))


def _own_field_docs(kind: type) -> Iterator[tuple[str, str, str]]:
    try:
        body = ast.parse(textwrap.dedent(inspect.getsource(kind))).body[0]
    except (OSError, TypeError):  # no source here
        return
    for field, text in pairwise(body.body if isinstance(body, ast.ClassDef) else []):
        about = text.value if isinstance(text, ast.Expr) else None
        if isinstance(field, ast.AnnAssign) and isinstance(about, ast.Constant):
            told = inspect.cleandoc(str(about.value))
            yield ast.unparse(field.target), ast.unparse(field.annotation), told


class Value:
    """A frozen value whose fields are held to their types where it is made."""

    __slots__ = ()
    __match_args__: ClassVar[tuple[str, ...]] = ()

    def __init_subclass__(cls) -> None:
        text = vars(cls).get("__doc__")
        if isinstance(text, str):
            type.__setattr__(cls, "__doc__", _Doc(text))

    def __post_init__(self) -> None:
        check_fields(self)

    def __getstate__(self) -> object:
        """Its fields alone, so that what was looked at before does not travel."""
        return {field.name: getattr(self, field.name) for field in fields(self)}  # type: ignore[arg-type]


def check_fields(value: Any) -> None:
    """Hold a frozen value to the types of its fields, and put right what is nearly right.

    Raises :class:`RequestError` with the class, the field, what it is, and what was given.
    """
    kind: Any = type(value)
    for name, plain, fit in _fits_of(kind):
        given = getattr(value, name)
        if type(given) not in plain:
            found = _apply(fit, given, f"{kind.__name__}.{name}")
            if found is not given:
                object.__setattr__(value, name, found)


def to_dict(value: Any) -> dict[str, Any]:
    """A value as plain data, with the name of its kind and the version under ``schema``.

    >>> from fretpath.neck.instrument import String
    >>> from fretpath.music.pitch import Pitch
    >>> to_dict(String(Pitch.parse("E1")))
    {'schema': 'fretpath/String/1', 'open': 'E1', 'nut': 0}

    Raises :class:`RequestError` for what is no value of this package.
    """
    if not is_dataclass(value) or isinstance(value, type):
        raise RequestError(f"only values become plain data, and {_show(value)} is none")
    return {"schema": _schema_name(type(value)), **_fields_as_data(value)}


def from_dict(data: Mapping[str, Any], kind: type[T]) -> T:
    """The value of a kind that :func:`to_dict` made the data from; checked like any other.

    >>> from fretpath.music.melody import Note
    >>> from_dict({"pitch": "F#2", "beats": "3/2"}, Note).beats
    Fraction(3, 2)

    Keys it does not know are passed over; without ``schema`` the data is taken as it is.  Raises
    :class:`RequestError` for data of another kind or of a later version, and for wrong fields.
    """
    wanted = _schema_name(kind)
    told = data.get("schema", wanted) if isinstance(data, Mapping) else None
    if told != wanted:
        raise RequestError(f"this is not plain data of {wanted}, but {_show(told)}")
    return kind(**_arguments(kind, data))


def schema_of(kind: type) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of what :func:`to_dict` makes of a kind of value."""
    others: dict[str, Any] = {}
    described = _describe_fields(kind, others)
    described["properties"]["schema"] = {"const": _schema_name(kind)}
    described["required"].append("schema")
    named = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": kind.__name__}
    return {**named, **described, "$defs": dict(sorted(others.items()))}


# -- from what is given to a value ----------------------------------------------------------------


@cache
def _fits_of(kind: Any) -> tuple[tuple[str, frozenset[type], Fit], ...]:
    """For each field its name, the types that need no second look, and its fit."""
    hints = get_type_hints(kind)
    return tuple(
        (field.name, _plain_types(hints[field.name]), _fit_of(hints[field.name]))
        for field in fields(kind)
    )


def _plain_types(hint: Any) -> frozenset[type]:
    if _is_union(hint):
        return frozenset().union(*map(_plain_types, get_args(hint)))
    checked = hint is float or not isinstance(hint, type)  # a float may be no number at all
    return frozenset() if checked else frozenset({hint})


def _fit_of(hint: Any) -> Fit:
    """A function that turns something given into a value of a type."""
    origin, arguments = get_origin(hint), get_args(hint)
    if _is_union(hint):
        return partial(_one_of, tuple(map(_fit_of, arguments)), _in_words(hint))
    if origin is Literal:
        return partial(_one_word, arguments)
    if origin is tuple:
        if arguments[1:] == (...,):
            return partial(_all_of, arguments[0], _fit_of(arguments[0]), tuple)
        return partial(_each_of, tuple(map(_fit_of, arguments)), _in_words(hint))
    if origin is frozenset:
        return partial(_all_of, None, _fit_of(arguments[0]), frozenset)
    simple = {int: _whole, float: _number, Fraction: number_of, bytes: _bytes}.get(hint)
    return simple or partial(_of_kind, origin or hint)


def _is_union(hint: Any) -> bool:
    return get_origin(hint) in (Union, UnionType)


def _apply(fit: Fit, given: object, place: str) -> Any:
    try:
        return fit(given)
    except RequestError as problem:
        raise RequestError(f"{place}: {problem}") from None


def _misfit(what: str, given: object) -> RequestError:
    return RequestError(f"{what} is needed, not {_show(given)}")


def _show(given: object) -> str:
    text = repr(given)
    return text if len(text) <= 60 else text[:57] + "..."


def _whole(given: object) -> int:
    if isinstance(given, Integral) and not isinstance(given, bool):
        return index(given)
    raise _misfit("a whole number", given)


def _number(given: object) -> float:
    if isinstance(given, Real) and not isinstance(given, bool) and math.isfinite(given):
        return float(given)
    raise _misfit("a number", given)


def number_of(given: object) -> Fraction:
    """A whole number, a fraction or its text; a float that is a fraction of at most 1000ths."""
    if isinstance(given, str):
        try:
            return Fraction(given)
        except (ValueError, ZeroDivisionError):
            raise _misfit("a number such as 1, 3/2 or 0.25", given) from None
    if isinstance(given, Rational) and not isinstance(given, bool):
        return Fraction(int(given.numerator), int(given.denominator))
    found = Fraction(_number(given)).limit_denominator(1000)
    if abs(found - Fraction(_number(given))) > Fraction(1, 10**9):
        raise _misfit("a fraction such as Fraction(3, 2)", given)
    return found


def _bytes(given: object) -> bytes:
    """Bytes, or their plain data: base64."""
    if isinstance(given, bytes):
        return given
    try:
        return b64decode(given, validate=True)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        raise _misfit("bytes", given) from None


def _one_word(known: tuple[object, ...], given: object) -> object:
    if isinstance(given, str) and given in known:
        return given
    hint = nearest(given, map(str, known)) if isinstance(given, str) else ""
    raise RequestError(f"{_misfit(' or '.join(map(repr, known)), given)}{hint}")


def _one_of(fits: tuple[Fit, ...], told: str, given: object) -> object:
    for fit in fits:
        try:
            return fit(given)
        except RequestError:
            continue
    raise _misfit(told, given)


def _all_of(kind: object, fit: Fit, into: type, given: object) -> object:
    if type(given) is into and {*map(type, given)} <= {kind}:  # type: ignore[call-overload]
        return given
    if isinstance(given, str | bytes | Mapping) or not isinstance(given, Iterable):
        raise _misfit("a list", given)
    return into(map(fit, given))


def _each_of(fits: tuple[Fit, ...], told: str, given: object) -> object:
    if isinstance(given, tuple | list) and len(given) == len(fits):
        return tuple(fit(part) for fit, part in zip(fits, given, strict=True))
    raise _misfit(told, given)


def _of_kind(kind: type, given: object) -> object:
    """The value itself; of text in its notation, or of plain data, what that stands for."""
    if isinstance(given, kind) and not (kind is bool and type(given) is not bool):
        return given
    if is_dataclass(kind) and isinstance(given, Mapping):
        return kind(**_arguments(kind, given))
    if is_dataclass(kind) and isinstance(given, str) and hasattr(kind, "parse"):
        return kind.parse(given)
    if kind is bool and type(given).__name__ in ("bool", "bool_"):  # numpy's own
        return bool(given)
    raise _misfit(_in_words(kind), given)


def _arguments(kind: type, data: Mapping[str, Any]) -> dict[str, Any]:
    """The fields of a value from plain data; what has a default may be missing."""
    missing = [f.name for f in fields(kind) if f.name not in data and not _has_default(f)]
    if missing:
        raise RequestError(f"{kind.__name__}: {', '.join(missing)} is missing")
    return {
        name: _apply(fit, data[name], f"{kind.__name__}.{name}")
        for name, _, fit in _fits_of(kind)
        if name in data
    }


def _has_default(field: Field[Any]) -> bool:
    return field.default is not MISSING or field.default_factory is not MISSING


def _in_words(hint: Any) -> str:
    """A type in words."""
    if _is_union(hint):
        return " or ".join(_in_words(part) for part in get_args(hint))
    if get_origin(hint) is Literal:
        return " or ".join(map(repr, get_args(hint)))
    if get_origin(hint) is tuple and get_args(hint)[1:] != (...,):
        return f"a pair or row of ({', '.join(map(_in_words, get_args(hint)))})"
    kind = get_origin(hint) or hint
    words = {
        int: "a whole number",
        float: "a number",
        str: "text",
        bool: "True or False",
        bytes: "bytes",
    }
    words |= {Fraction: "a number", tuple: "a list", frozenset: "a list", NoneType: "None"}
    name: str = getattr(kind, "__name__", str(kind))
    return words.get(kind) or f"{'an' if name[0] in 'AEIO' else 'a'} {name}"


# -- from a value to plain data -------------------------------------------------------------------


def _schema_name(kind: type) -> str:
    return f"fretpath/{kind.__name__}/{VERSION}"


def _fields_as_data(value: Any) -> dict[str, Any]:
    return {field.name: _as_data(getattr(value, field.name)) for field in fields(value)}


def _as_data(value: Any) -> Any:
    if value is None or isinstance(value, str | bool | int | float):
        return value
    if isinstance(value, bytes):
        return b64encode(value).decode()
    if is_dataclass(value):
        return _notation(value) or _fields_as_data(value)
    if isinstance(value, Mapping):
        return {str(key): _as_data(each) for key, each in value.items()}
    if isinstance(value, Set):
        return [_as_data(each) for each in sorted(value)]
    return [*map(_as_data, value)] if isinstance(value, tuple | list) else str(value)


def _has_notation(kind: type) -> bool:
    return hasattr(kind, "parse") and "__str__" in vars(kind)


def _notation(value: Any) -> str | None:
    """The text of a value that has a notation, unless it is beyond what can be read."""
    if not _has_notation(type(value)):
        return None
    try:
        return str(value) if type(value).parse(str(value)) == value else None
    except RequestError:
        return None


# -- the JSON Schema ------------------------------------------------------------------------------


def _describe_fields(kind: type, others: dict[str, Any]) -> dict[str, Any]:
    """The schema of a value as an object; schemas of other kinds are added to *others*."""
    hints = get_type_hints(kind)
    names = [field.name for field in fields(kind)]
    about = {name: " ".join(text.split()) for name, _, text in _field_docs(kind)}
    properties = {
        name: {**_describe(hints[name], others), "description": about.get(name, "")}
        for name in names
    }
    return {"type": "object", "properties": properties, "required": names}


def _describe(hint: Any, others: dict[str, Any]) -> dict[str, Any]:
    origin, arguments = get_origin(hint), get_args(hint)
    if _is_union(hint):
        return {"anyOf": [_describe(part, others) for part in arguments]}
    if origin is Literal:
        return {"enum": [*arguments]}
    if origin is tuple and arguments[1:] != (...,):
        parts = [_describe(part, others) for part in arguments]
        return {"type": "array", "prefixItems": parts, "items": False, "minItems": len(parts)}
    if origin in (tuple, frozenset):
        return {"type": "array", "items": _describe(arguments[0], others)}
    if is_dataclass(hint):
        return _refer(hint, others)  # type: ignore[arg-type]
    if hint is Fraction:
        return {"type": "string", "pattern": r"^-?\d+(/\d+)?$"}
    if hint is bytes:
        return {"type": "string", "contentEncoding": "base64"}
    names = {int: "integer", float: "number", str: "string", bool: "boolean", NoneType: "null"}
    return {"type": names.get(hint, "object")}


def _refer(kind: type, others: dict[str, Any]) -> dict[str, Any]:
    if kind.__name__ not in others:
        others[kind.__name__] = {}  # a value that holds its own kind refers to itself
        described = _describe_fields(kind, others)
        text = {"type": "string", "description": "in its notation"}
        both = {"anyOf": [text, described]}
        others[kind.__name__] = both if _has_notation(kind) else described
    return {"$ref": f"#/$defs/{kind.__name__}"}
