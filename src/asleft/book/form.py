"""The one closed form: a tree from a file against the types of the values, with a remark for each departure.

Keys in a file are words with hyphens (``hold-s``); the fields of the values have underscores. Numbers are plain
decimals; a text that some reader of YAML would take for a number, a date or a truth value must stand in quotes.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import cache
from typing import Any, TypeVar, cast

import msgspec
from msgspec import inspect

from .nodes import List, Map, Scalar, Tree
from .remark import Complaint, Path, nearest

T = TypeVar("T")

_NUMBER = re.compile(r"-?(0|[1-9]\d*)(\.\d+)?")
_WHOLE = re.compile(r"-?(0|[1-9]\d*)")
_TRUTH = {"true": True, "false": False}
#: What YAML 1.1 or 1.2 readers turn into something else than a text.
_OTHERWISE = re.compile(
    r"""~|null|true|false|yes|no|on|off|y|n
    |[-+]?[0-9][0-9_,]*(\.[0-9_]*)?([eE][-+]?[0-9]+)?   # numbers, 1e3, 1_000, 007
    |[-+]?\.[0-9]+([eE][-+]?[0-9]+)?
    |[-+]?0[xXoObB][0-9a-fA-F_]+                         # 0x10, 0o7
    |[0-9]+(:[0-5]?[0-9])+(\.[0-9]*)?                    # 12:30 is 750 to some
    |[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}([Tt ].*)?            # dates
    |[-+]?\.(inf|nan)|=""",
    re.VERBOSE | re.IGNORECASE,
)
#: What such a text can begin with.
_BEGINNINGS = frozenset("~nNtTfFyYoO0123456789+-.=")


class Shaped(msgspec.Struct, frozen=True):
    """Result of a walk: builtin values (None when a complaint bars it) and complaints."""

    value: object
    complaints: tuple[Complaint, ...]


def shape(tree: Tree, kind: type[Any]) -> Shaped:
    """Hold a tree against a struct type.

    Args: kind: a msgspec struct; unions must be tagged.
    Returns: builtins ready for ``msgspec.convert``, complaints; the walk goes on after a complaint.
    """
    complaints: list[Complaint] = []
    value = _reader_of(kind)(tree, None, complaints)
    return Shaped(value, tuple(complaints))


def build(shaped: Shaped, kind: type[T]) -> T | Complaint:
    """The struct itself, or the rule of one of its values that is broken. Only after a walk without complaints."""
    try:
        return msgspec.convert(shaped.value, kind)
    except msgspec.ValidationError as error:
        why, _, place = str(error).partition(" - at `$")
        return Complaint(_path(place.rstrip("`")), "rule", why[:1].lower() + why[1:], "values that agree")


def _path(place: str) -> Path:
    """``.criteria[0].limits`` as keys and indices, in the file's spelling."""
    parts = re.findall(r"\.([A-Za-z_]\w*)|\[(\d+)\]", place)
    return tuple(file_key(key) if key else int(index) for key, index in parts)


def file_key(field: str) -> str:
    """A field's name as files spell it."""
    return field.replace("_", "-")


#: A place on the way down: the place around it and its key or index; flat only when something is said about it.
_Place = tuple["_Place | None", str | int] | None
#: Reads one tree: the builtin value, and complaints added to the list.
_Read = Callable[[Tree, _Place, list[Complaint]], object]


def _flat(place: _Place, *more: str | int) -> Path:
    parts: list[str | int] = list(reversed(more))
    while place is not None:
        place, part = place
        parts.append(part)
    return tuple(reversed(parts))


@cache
def _reader_of(kind: type[Any]) -> _Read:
    """A reader made once from the type: thousands of files are held against the same form."""
    return _reader(inspect.type_info(kind))


def _reader(kind: inspect.Type) -> _Read:
    match kind:
        case inspect.StructType():
            return _StructReader(kind).read
        case inspect.UnionType():
            return _union(kind)
        case inspect.VarTupleType():
            return _list(kind)
        case inspect.TupleType():
            return _fixed(kind.item_types)
        case inspect.DictType():
            return _dict(kind.value_type)
        case _:
            return _scalar(kind)


class _StructReader:
    """Keys of one struct."""

    def __init__(self, kind: inspect.StructType) -> None:
        self._tag_key = kind.tag_field if kind.tag_field is not None else ""
        self._tag = kind.tag
        self._fields = {file_key(f.name): (f.name, _reader(f.type)) for f in kind.fields}
        self._allowed = frozenset((*self._fields, self._tag_key))
        self._needed = {file_key(f.name): _expected(f.type) for f in kind.fields if f.required}

    def read(self, tree: Tree, place: _Place, said: list[Complaint]) -> object:
        if tree.__class__ is not Map:
            known = ", ".join(tuple(self._fields)[:4])
            said.append(Complaint(_flat(place), "not-a-map", "a map is expected here", f"keys with values ({known} …)"))
            return None
        items = cast("Map", tree).items
        if not self._allowed.issuperset(items):
            self._unknown(items, place, said)
        found: dict[str, object] = {self._tag_key: self._tag} if self._tag_key else {}
        for key, (name, read) in self._fields.items():
            below = items.get(key)
            if below is not None:
                found[name] = read(below, (place, key), said)
            elif key in self._needed:
                instead = f"{key}: … ({self._needed[key]})"
                said.append(Complaint(_flat(place), "missing-key", f'"{key}" is missing', instead))
        return found

    def _unknown(self, keys: Iterable[str], place: _Place, said: list[Complaint]) -> None:
        known = tuple(self._fields)
        for key in keys:
            if key in self._allowed:
                continue
            path = _flat(place, key)
            if not key.isascii() and (plain := _look_alike(key)) is not None:
                why = f'"{key}" has a letter that only looks like an ASCII one'
                said.append(Complaint(path, "look-alike", why, f"{plain}, typed anew"))
                continue
            near = file_key(key) if file_key(key) in known else nearest(key, known)
            instead = near or "one of " + ", ".join(known)
            said.append(Complaint(path, "unknown-key", f'"{key}" is no key here', instead))


def _union(kind: inspect.UnionType) -> _Read:
    structs = [t for t in kind.types if isinstance(t, inspect.StructType)]
    others = [t for t in kind.types if not isinstance(t, inspect.StructType | inspect.NoneType)]
    if not others:
        return _StructReader(structs[0]).read if len(structs) == 1 else _tagged(structs)
    other = _reader(others[0])
    if not structs:
        return other
    struct = _StructReader(structs[0]).read if len(structs) == 1 else _tagged(structs)
    return lambda tree, place, said: (struct if tree.__class__ is Map else other)(tree, place, said)


def _tagged(structs: list[inspect.StructType]) -> _Read:
    readers = {str(s.tag): _StructReader(s).read for s in structs}
    tags = tuple(readers)
    tag_key = cast("str", structs[0].tag_field)

    def read(tree: Tree, place: _Place, said: list[Complaint]) -> object:
        chosen = tree.items.get(tag_key) if isinstance(tree, Map) else None
        if chosen is None:
            why = f'an entry with "{tag_key}" is expected'
            said.append(Complaint(_flat(place), "no-type", why, f"{tag_key}: one of {', '.join(tags)}"))
            return None
        name = chosen.text if isinstance(chosen, Scalar) else ""
        if name in readers:
            return readers[name](tree, place, said)
        near = nearest(name, tags) or "one of " + ", ".join(tags)
        said.append(Complaint(_flat(place, tag_key), "unknown-type", f'"{name}" is no {tag_key} here', near))
        return None

    return read


def _list(kind: inspect.VarTupleType) -> _Read:
    item = _reader(kind.item_type)
    least = kind.min_length or 0

    def read(tree: Tree, place: _Place, said: list[Complaint]) -> object:
        if not isinstance(tree, List):
            instead = "one entry a line, each after a hyphen"
            said.append(Complaint(_flat(place), "not-a-list", "a list is expected here", instead))
            return None
        if len(tree.items) < least:
            said.append(Complaint(_flat(place), "too-few", f"{len(tree.items)} entries", f"at least {least}"))
        return [item(entry, (place, n), said) for n, entry in enumerate(tree.items)]

    return read


def _fixed(items: tuple[inspect.Type, ...]) -> _Read:
    readers = tuple(_reader(item) for item in items)

    def read(tree: Tree, place: _Place, said: list[Complaint]) -> object:
        if not isinstance(tree, List) or len(tree.items) != len(readers):
            instead = f"[{', '.join('…' for _ in readers)}]"
            why = f"a list of exactly {len(readers)} is expected"
            said.append(Complaint(_flat(place), "not-a-list", why, instead))
            return None
        return [item(below, (place, n), said) for n, (below, item) in enumerate(zip(tree.items, readers, strict=True))]

    return read


def _dict(item_type: inspect.Type) -> _Read:
    item = _reader(item_type)

    def read(tree: Tree, place: _Place, said: list[Complaint]) -> object:
        if not isinstance(tree, Map):
            said.append(Complaint(_flat(place), "not-a-map", "a map is expected here", "keys with values"))
            return None
        return {key: item(below, (place, key), said) for key, below in tree.items.items()}

    return read


def _scalar(kind: inspect.Type) -> _Read:
    value = _value(kind)

    def read(tree: Tree, place: _Place, said: list[Complaint]) -> object:
        if tree.__class__ is not Scalar:
            said.append(Complaint(_flat(place), "not-a-value", "a single value is expected here", _expected(kind)))
            return None
        try:
            return value(cast("Scalar", tree))
        except _Bad as bad:
            said.append(Complaint(_flat(place), bad.code, bad.why, bad.instead))
            return None

    return read


class _Bad(Exception):  # noqa: N818 - private, becomes a complaint at once
    def __init__(self, code: str, why: str, instead: str) -> None:
        self.code, self.why, self.instead = code, why, instead
        super().__init__(why)


def _value(kind: inspect.Type) -> Callable[[Scalar], object]:
    match kind:
        case inspect.FloatType() | inspect.IntType():
            return lambda scalar: _number(scalar, kind)
        case inspect.BoolType():
            return _truth
        case inspect.EnumType():
            choices = tuple(str(e.value) for e in kind.cls)
            return lambda scalar: _choice(scalar, choices)
        case inspect.LiteralType():
            values = tuple(str(v) for v in kind.values)
            return lambda scalar: _choice(scalar, values)
        case inspect.StrType():
            return lambda scalar: _text(scalar, kind)
        case _:
            return _nothing


def _truth(scalar: Scalar) -> bool:
    if scalar.plain and scalar.text in _TRUTH:
        return _TRUTH[scalar.text]
    raise _Bad("truth", f'"{scalar.text}" is not read as a truth value', "true or false")


def _nothing(scalar: Scalar) -> object:
    del scalar
    raise _Bad("type", "nothing is expected here", "leave it out")


def _number(scalar: Scalar, kind: inspect.FloatType | inspect.IntType) -> float | int:
    text, whole = scalar.text, isinstance(kind, inspect.IntType)
    what = "a whole number" if whole else "a number"
    if not scalar.plain:
        raise _Bad("number", f'"{text}" stands in quotes and is a text', f"{what} without quotes")
    if not (_WHOLE if whole else _NUMBER).fullmatch(text):
        raise _Bad("number", f'"{text}" is not read as {what}', _better(text, whole))
    value = int(text) if whole else float(text)
    if (kind.ge is not None and value < kind.ge) or (kind.gt is not None and value <= kind.gt):
        raise _Bad("range", f"{text} is too small", f"at least {kind.ge if kind.ge is not None else kind.gt}")
    if (kind.le is not None and value > kind.le) or (kind.lt is not None and value >= kind.lt):
        raise _Bad("range", f"{text} is too big", f"at most {kind.le if kind.le is not None else kind.lt}")
    return value


def _better(text: str, whole: bool) -> str:
    if re.fullmatch(r"-?\d+,\d+", text):
        return text.replace(",", ".") + " with a point" if not whole else "a whole number such as 12"
    if re.fullmatch(r"-?0+\d+(\.\d+)?", text):
        return f"{text.lstrip('-').lstrip('0') or '0'} without leading zeros"
    if re.match(r"-?\d+(\.\d+)?\s*[^\d.\s]", text) and not re.match(r"0[xXoObB]|.*[eE][-+]?\d", text):
        return "the number alone; its unit has a key of its own"
    return "a whole number such as 12" if whole else "a plain decimal such as 12 or 0.5"


def _choice(scalar: Scalar, known: tuple[str, ...]) -> str:
    if scalar.text in known:
        return scalar.text
    instead = nearest(scalar.text, known) or "one of " + ", ".join(known)
    raise _Bad("choice", f'"{scalar.text}" is none of the choices', instead)


def _text(scalar: Scalar, kind: inspect.StrType) -> str:
    text = scalar.text
    if scalar.plain and (not text or (text[0] in _BEGINNINGS and _OTHERWISE.fullmatch(text))):
        if not text:
            raise _Bad("empty", "nothing stands here", "a text, or leave the key out")
        raise _Bad("quotes", f"{text} without quotes is no text to every reader of YAML", f'"{text}"')
    if kind.pattern is not None and not re.search(kind.pattern, text):
        raise _Bad("pattern", f'"{text}" does not have the form asked for', _PATTERNS.get(kind.pattern, kind.pattern))
    if kind.min_length is not None and len(text) < kind.min_length:
        raise _Bad("empty", "an empty text", "a text, or leave the key out")
    if kind.max_length is not None and len(text) > kind.max_length:
        raise _Bad("too-long", f"{len(text)} characters", f"at most {kind.max_length}")
    return text


#: What a pattern of the types means, in words.
_PATTERNS: dict[str, str] = {}


def explain_pattern(pattern: str, words: str) -> str:
    """Register the words for a pattern and give the pattern back."""
    _PATTERNS[pattern] = words
    return pattern


def _expected(kind: inspect.Type) -> str:
    match kind:
        case inspect.FloatType():
            return "a number"
        case inspect.IntType():
            return "a whole number"
        case inspect.BoolType():
            return "true or false"
        case inspect.EnumType():
            return "one of " + ", ".join(str(e.value) for e in kind.cls)
        case inspect.VarTupleType() | inspect.TupleType():
            return "a list"
        case inspect.StructType() | inspect.DictType():
            return "a map"
        case inspect.UnionType():
            return _expected(next(t for t in kind.types if not isinstance(t, inspect.NoneType)))
        case _:
            return "a text"


#: Letters of other alphabets that look like ASCII ones (a few that happen; from memory).
_LOOK_ALIKES = str.maketrans("аеорсухіјѕԁһӏΑΒΕΖΗΙΚΜΝΟΡΤΥΧορνAВМНКТ", "aeopcyxijsdhlABEZHIKMNOPTYXopvABMHKT")


def _look_alike(key: str) -> str | None:
    plain = key.translate(_LOOK_ALIKES)
    return plain if plain.isascii() else None
