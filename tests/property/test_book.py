"""Round trips of the book: every identifier in every printed form; numbers and texts through the file form."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from asleft.book.files import ProcedureError
from asleft.book.form import _OTHERWISE
from asleft.book.identifier import parse
from asleft.book.loader import read_procedure
from asleft.book.nodes import MAX_BYTES
from asleft.book.procedure import Printed

HEAD = "id: p\nfunction: f\nrevision: 1\nsource: {}\n"


@given(st.integers(0, 65535))
def test_every_identifier_in_every_form(value: int) -> None:
    high, low = divmod(value, 256)
    printed = {
        Printed.HEX: (f"{value:04X}", f"0x{value:04x}", f"{value:04X}h", f"${value:04X}", f"{high:02X} {low:02X}"),
        Printed.HEX_BYTES: (f"{high:02X}-{low:02X}", f"0x{high:02X} 0x{low:02X}"),
        Printed.DECIMAL: (str(value),),
        Printed.DECIMAL_BYTES: (f"{high}-{low}", f"{high:03d} {low:03d}"),
    }
    for form, texts in printed.items():
        for text in texts:
            found = parse(text, form)
            assert found.value == value
            assert found.request == bytes((0x31, 0x01, high, low))


@given(st.floats(-1e6, 1e6).map(lambda x: round(x, 3)))
def test_numbers_come_back_as_written(value: float) -> None:
    entry = f"entry: [{{id: a, text: a b, kind: at-most, signal: coolant-temperature, high: {value:.3f}, unit: °C}}]\n"
    loaded = read_procedure(f"{HEAD}name: some\n{entry}".encode(), "p.yaml")
    assert loaded.procedure.entry[0].high == value


@given(st.text(st.characters(codec="ascii", min_codepoint=32, max_codepoint=126), min_size=1, max_size=60))
def test_quoted_texts_come_back_as_written(text: str) -> None:
    quoted = "'" + text.replace("'", "''") + "'"
    assert read_procedure(f"{HEAD}name: {quoted}\n".encode(), "p.yaml").procedure.name == text


@given(st.from_regex(_OTHERWISE, fullmatch=True).filter(lambda t: t.isascii() and "\n" not in t and t.strip() == t))
def test_what_another_reader_would_change_is_never_taken_as_text(text: str) -> None:
    try:
        name = read_procedure(f"{HEAD}name: {text}\n".encode(), "p.yaml").procedure.name
    except ProcedureError:
        return
    raise AssertionError(f"{text!r} was taken as {name!r}")


@given(st.binary(max_size=300))
def test_any_bytes_give_a_procedure_or_remarks(data: bytes) -> None:
    assert len(data) < MAX_BYTES
    said = None
    try:
        read_procedure(data, "p.yaml")
    except ProcedureError as bad:
        said = [remark.text for remark in bad.remarks]
    assert said is None or (said and all(text.startswith("p.yaml:") for text in said))
