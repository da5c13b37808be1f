"""The one closed form: a tree from a file against the types of the values, with a remark for each departure.

Keys in a file are words with hyphens (``hold-s``); the fields of the values have underscores. Numbers are plain
decimals; a text that some reader of YAML would take for a number, a date or a truth value must stand in quotes.
"""

from __future__ import annotations

import re
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


class Shaped(msgspec.Struct, frozen=True):
    """Result of a walk: builtin values (None when a complaint bars it), where each field stands, complaints."""

    value: object
    lines: dict[Path, int]
    complaints: tuple[Complaint, ...]


def shape(tree: Tree, kind: type[Any]) -> Shaped:
    """Hold a tree against a struct type.

    Args: kind: a msgspec struct; unions must be tagged.
    Returns: builtins ready for ``msgspec.convert``, lines, complaints; the walk goes on after a complaint.
    """
    walk = _Walk()
    value = walk.any(tree, _type_info(kind), ())
    return Shaped(value, walk.lines, tuple(walk.complaints))


@cache
def _type_info(kind: type[Any]) -> inspect.Type:
    return inspect.type_info(kind)


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


class _Walk:
    def __init__(self) -> None:
        self.lines: dict[Path, int] = {}
        self.complaints: list[Complaint] = []

    def any(self, tree: Tree, kind: inspect.Type, path: Path) -> object:
        self.lines.setdefault(path, tree.line)
        match kind:
            case inspect.StructType():
                return self._struct(tree, kind, path)
            case inspect.UnionType():
                return self._union(tree, kind, path)
            case inspect.VarTupleType():
                return self._list(tree, kind, path)
            case inspect.TupleType():
                return self._fixed(tree, kind.item_types, path)
            case inspect.DictType():
                return self._dict(tree, kind.value_type, path)
            case _:
                return self._scalar(tree, kind, path)

    def _say(self, path: Path, code: str, why: str, instead: str) -> None:
        self.complaints.append(Complaint(path, code, why, instead))

    def _struct(self, tree: Tree, kind: inspect.StructType, path: Path) -> object:
        if not isinstance(tree, Map):
            known = ", ".join(file_key(f.name) for f in kind.fields[:4])
            self._say(path, "not-a-map", "a map is expected here", f"keys with values ({known} …)")
            return None
        fields = {file_key(f.name): f for f in kind.fields}
        tag_key = kind.tag_field if kind.tag_field is not None else ""
        for key, value in tree.items.items():
            self.lines[(*path, key)] = tree.keys[key]
            if key not in fields and key != tag_key:
                self._unknown(key, tuple(fields), (*path, key))
                del value
        found: dict[str, object] = {tag_key: kind.tag} if tag_key else {}
        for key, field in fields.items():
            if key in tree.items:
                found[field.name] = self.any(tree.items[key], field.type, (*path, key))
            elif field.required:
                self._say(path, "missing-key", f'"{key}" is missing', f"{key}: … ({_expected(field.type)})")
        return found

    def _unknown(self, key: str, known: tuple[str, ...], path: Path) -> None:
        if not key.isascii() and (plain := _look_alike(key)) is not None:
            self._say(
                path, "look-alike", f'"{key}" has a letter that only looks like an ASCII one', f"{plain}, typed anew"
            )
            return
        near = file_key(key) if file_key(key) in known else nearest(key, known)
        instead = near or "one of " + ", ".join(known)
        self._say(path, "unknown-key", f'"{key}" is no key here', instead)

    def _union(self, tree: Tree, kind: inspect.UnionType, path: Path) -> object:
        structs = [t for t in kind.types if isinstance(t, inspect.StructType)]
        others = [t for t in kind.types if not isinstance(t, inspect.StructType | inspect.NoneType)]
        if others and not (structs and isinstance(tree, Map)):
            return self.any(tree, others[0], path)
        if len(structs) == 1:
            return self._struct(tree, structs[0], path)
        return self._tagged(tree, structs, path)

    def _tagged(self, tree: Tree, structs: list[inspect.StructType], path: Path) -> object:
        tags = tuple(str(s.tag) for s in structs)
        tag_key = cast("str", structs[0].tag_field)
        chosen = tree.items.get(tag_key) if isinstance(tree, Map) else None
        if not isinstance(tree, Map) or chosen is None:
            self._say(path, "no-type", f'an entry with "{tag_key}" is expected', f"{tag_key}: one of {', '.join(tags)}")
            return None
        name = chosen.text if isinstance(chosen, Scalar) else ""
        for struct in structs:
            if struct.tag == name:
                return self._struct(tree, struct, path)
        near = nearest(name, tags) or "one of " + ", ".join(tags)
        self._say((*path, tag_key), "unknown-type", f'"{name}" is no {tag_key} here', near)
        self.lines[(*path, tag_key)] = chosen.line
        return None

    def _list(self, tree: Tree, kind: inspect.VarTupleType, path: Path) -> object:
        if not isinstance(tree, List):
            self._say(path, "not-a-list", "a list is expected here", "one entry a line, each after a hyphen")
            return None
        if kind.min_length is not None and len(tree.items) < kind.min_length:
            self._say(path, "too-few", f"{len(tree.items)} entries", f"at least {kind.min_length}")
        return [self.any(entry, kind.item_type, (*path, n)) for n, entry in enumerate(tree.items)]

    def _fixed(self, tree: Tree, items: tuple[inspect.Type, ...], path: Path) -> object:
        if not isinstance(tree, List) or len(tree.items) != len(items):
            self._say(
                path, "not-a-list", f"a list of exactly {len(items)} is expected", f"[{', '.join('…' for _ in items)}]"
            )
            return None
        return [self.any(e, t, (*path, n)) for n, (e, t) in enumerate(zip(tree.items, items, strict=True))]

    def _dict(self, tree: Tree, item: inspect.Type, path: Path) -> object:
        if not isinstance(tree, Map):
            self._say(path, "not-a-map", "a map is expected here", "keys with values")
            return None
        return {k: self.any(v, item, (*path, k)) for k, v in tree.items.items()}

    def _scalar(self, tree: Tree, kind: inspect.Type, path: Path) -> object:
        if not isinstance(tree, Scalar):
            self._say(path, "not-a-value", "a single value is expected here", _expected(kind))
            return None
        try:
            return _value(tree, kind)
        except _Bad as bad:
            self._say(path, bad.code, bad.why, bad.instead)
            return None


class _Bad(Exception):  # noqa: N818 - private, becomes a complaint at once
    def __init__(self, code: str, why: str, instead: str) -> None:
        self.code, self.why, self.instead = code, why, instead
        super().__init__(why)


def _value(scalar: Scalar, kind: inspect.Type) -> object:
    match kind:
        case inspect.FloatType() | inspect.IntType():
            return _number(scalar, kind)
        case inspect.BoolType():
            if scalar.plain and scalar.text in _TRUTH:
                return _TRUTH[scalar.text]
            raise _Bad("truth", f'"{scalar.text}" is not read as a truth value', "true or false")
        case inspect.EnumType():
            return _choice(scalar, tuple(str(e.value) for e in kind.cls))
        case inspect.LiteralType():
            return _choice(scalar, tuple(str(v) for v in kind.values))
        case inspect.StrType():
            return _text(scalar, kind)
        case _:
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
    if scalar.plain and (not text or _OTHERWISE.fullmatch(text)):
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
