"""Records: any change of any byte is found; the quick test of canonical form is the exact one."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from asleft.record.canonical import canonical, exactly_canonical, is_canonical
from asleft.record.export import EVENTS, record_members
from asleft.record.keys import SigningKey
from asleft.record.plainzip import packed
from asleft.record.verify import verify
from kit.record_kit import small_record

JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=("Cs",)), max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner, max_size=4),
    max_leaves=12,
)  # fmt: skip


@pytest.fixture(scope="module")
def members(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("small")
    return record_members(small_record(folder), SigningKey.load_or_make(folder / "keys"))


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("changed") / "record.zip"


@given(JSON)
@settings(max_examples=300)
def test_canonical_bytes_are_called_canonical(value: object) -> None:
    try:
        text = rfc8785.dumps(value)  # type: ignore[arg-type]
    except (ValueError, UnicodeEncodeError):
        return
    assert exactly_canonical(text)
    assert is_canonical(text)


@given(JSON, st.booleans(), st.booleans())
@settings(max_examples=300)
def test_the_quick_answer_is_the_exact_one(value: object, spaces: bool, ascii_only: bool) -> None:
    separators = (", ", ": ") if spaces else (",", ":")
    text = json.dumps(value, ensure_ascii=ascii_only, separators=separators)
    try:
        stored = text.encode()
    except UnicodeEncodeError:
        return
    assert is_canonical(stored) == exactly_canonical(stored)


@given(JSON)
@settings(max_examples=500)
def test_the_quick_writer_writes_the_exact_bytes(value: object) -> None:
    try:
        text = rfc8785.dumps(value)  # type: ignore[arg-type]
    except ValueError:
        with pytest.raises(ValueError):
            canonical(value)
        return
    assert canonical(value) == text


@pytest.mark.parametrize("number", [float("nan"), float("inf"), 2**53 + 1, -(2**60)])
def test_what_is_no_number_there_is_refused(number: float) -> None:
    with pytest.raises(ValueError):
        canonical({"a": [1.5, number]})


@given(st.data())
@settings(max_examples=300)
def test_any_changed_bit_is_found(members: dict[str, bytes], place: Path, data: st.DataObject) -> None:
    """Of the whole file: events, head, signature, key, and the container around them."""
    content = bytearray(packed(members))
    position = data.draw(st.integers(0, len(content) - 1))
    content[position] ^= 1 << data.draw(st.integers(0, 7))
    place.write_bytes(content)
    assert not verify(place).intact


@given(st.data())
@settings(max_examples=200)
def test_any_other_order_or_choice_of_lines_is_found(
    members: dict[str, bytes], place: Path, data: st.DataObject
) -> None:
    lines = members[EVENTS].splitlines(keepends=True)
    chosen = data.draw(st.lists(st.sampled_from(lines), max_size=len(lines) + 2))
    place.write_bytes(packed({**members, EVENTS: b"".join(chosen)}))
    assert verify(place).intact == (chosen == lines)


@given(st.data())
@settings(max_examples=200)
def test_any_cut_is_found(members: dict[str, bytes], place: Path, data: st.DataObject) -> None:
    whole = members[EVENTS]
    start = data.draw(st.integers(0, len(whole) - 1))
    stop = data.draw(st.integers(start + 1, len(whole)))
    place.write_bytes(packed({**members, EVENTS: whole[:start] + whole[stop:]}))
    assert not verify(place).intact


@given(st.binary(max_size=400))
@settings(max_examples=200)
def test_any_bytes_at_all_give_findings_not_a_crash(place: Path, content: bytes) -> None:
    place.write_bytes(content)
    assert not verify(place).intact


@given(st.lists(st.binary(max_size=60), max_size=4))
@settings(max_examples=200)
def test_any_lines_at_all_give_findings_not_a_crash(members: dict[str, bytes], place: Path, lines: list[bytes]) -> None:
    place.write_bytes(packed({**members, EVENTS: b"\n".join(lines)}))
    assert not verify(place).intact
