"""A small data base of an invented engine module, written with odxtools, for import tests."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape

import odxtools
from odxtools.database import Database

_XSI = "http://www.w3.org/2001/XMLSchema-instance"


@dataclass(frozen=True)
class Dop:
    """One data object: coded type, computation (XML of ODX), unit name."""

    name: str
    bits: int = 8
    base: str = "A_UINT32"
    physical: str = "A_FLOAT64"
    computed: str = "<CATEGORY>IDENTICAL</CATEGORY>"
    unit: str = ""
    attributes: str = ""
    coded: str = ""

    def xml(self) -> str:
        coded = self.coded or (
            f'<DIAG-CODED-TYPE BASE-DATA-TYPE="{self.base}" {self.attributes} xsi:type="STANDARD-LENGTH-TYPE">'
            f"<BIT-LENGTH>{self.bits}</BIT-LENGTH></DIAG-CODED-TYPE>"
        )
        unit = f'<UNIT-REF ID-REF="U.{self.name}"/>' if self.unit else ""
        return (
            f'<DATA-OBJECT-PROP ID="DOP.{self.name}"><SHORT-NAME>{self.name}</SHORT-NAME>'
            f"<COMPU-METHOD>{self.computed}</COMPU-METHOD>{coded}"
            f'<PHYSICAL-TYPE BASE-DATA-TYPE="{self.physical}"/>{unit}</DATA-OBJECT-PROP>'
        )

    def unit_xml(self) -> str:
        shown = escape(self.unit)
        head = f'<UNIT ID="U.{self.name}"><SHORT-NAME>u_{self.name}</SHORT-NAME>'
        return f"{head}<DISPLAY-NAME>{shown}</DISPLAY-NAME></UNIT>" if self.unit else ""


def linear(offset: float, factor: float, below: float = 1) -> str:
    """value = (offset + factor · raw) / below."""
    numbers = f"<COMPU-NUMERATOR><V>{offset}</V><V>{factor}</V></COMPU-NUMERATOR>"
    numbers += f"<COMPU-DENOMINATOR><V>{below}</V></COMPU-DENOMINATOR>"
    scale = f"<COMPU-SCALE><COMPU-RATIONAL-COEFFS>{numbers}</COMPU-RATIONAL-COEFFS></COMPU-SCALE>"
    return f"<CATEGORY>LINEAR</CATEGORY>{_to_physical(scale)}"


def table(words: dict[tuple[int, int], str]) -> str:
    """Words for raw values from … to …."""
    scales = "".join(
        f"<COMPU-SCALE><LOWER-LIMIT>{low}</LOWER-LIMIT><UPPER-LIMIT>{high}</UPPER-LIMIT>"
        f"<COMPU-CONST><VT>{text}</VT></COMPU-CONST></COMPU-SCALE>"
        for (low, high), text in words.items()
    )
    return f"<CATEGORY>TEXTTABLE</CATEGORY>{_to_physical(scales)}"


def _to_physical(scales: str) -> str:
    return f"<COMPU-INTERNAL-TO-PHYS><COMPU-SCALES>{scales}</COMPU-SCALES></COMPU-INTERNAL-TO-PHYS>"


@dataclass(frozen=True)
class Asked:
    """One service: fixed bytes of request and answer; values sent and answered as (name, DOP, byte, bit)."""

    name: str
    request: str
    answer: str
    sends: tuple[tuple[str, str, int, int], ...] = ()
    answers: tuple[tuple[str, str, int, int], ...] = ()

    def request_xml(self) -> str:
        params = _fixed(self.request) + "".join(map(_value, self.sends))
        head = f'<REQUEST ID="RQ.{self.name}"><SHORT-NAME>rq_{self.name}</SHORT-NAME>'
        return f"{head}<PARAMS>{params}</PARAMS></REQUEST>"

    def answer_xml(self) -> str:
        params = _fixed(self.answer) + "".join(map(_value, self.answers))
        head = f'<POS-RESPONSE ID="PR.{self.name}"><SHORT-NAME>pr_{self.name}</SHORT-NAME>'
        return f"{head}<PARAMS>{params}</PARAMS></POS-RESPONSE>"

    def service_xml(self) -> str:
        return (
            f'<DIAG-SERVICE ID="S.{self.name}"><SHORT-NAME>{self.name}</SHORT-NAME>'
            f'<REQUEST-REF ID-REF="RQ.{self.name}"/>'
            f'<POS-RESPONSE-REFS><POS-RESPONSE-REF ID-REF="PR.{self.name}"/></POS-RESPONSE-REFS></DIAG-SERVICE>'
        )


def _fixed(text: str) -> str:
    return "".join(
        f'<PARAM xsi:type="CODED-CONST"><SHORT-NAME>c{n}</SHORT-NAME><BYTE-POSITION>{n}</BYTE-POSITION>'
        f"<CODED-VALUE>{byte}</CODED-VALUE>"
        '<DIAG-CODED-TYPE BASE-DATA-TYPE="A_UINT32" xsi:type="STANDARD-LENGTH-TYPE"><BIT-LENGTH>8</BIT-LENGTH>'
        "</DIAG-CODED-TYPE></PARAM>"
        for n, byte in enumerate(bytes.fromhex(text))
    )


def _value(value: tuple[str, str, int, int]) -> str:
    name, dop, byte, bit = value
    at = f"<BIT-POSITION>{bit}</BIT-POSITION>" if bit else ""
    return (
        f'<PARAM xsi:type="VALUE"><SHORT-NAME>{name}</SHORT-NAME><BYTE-POSITION>{byte}</BYTE-POSITION>{at}'
        f'<DOP-REF ID-REF="DOP.{dop}"/></PARAM>'
    )


@dataclass(frozen=True)
class Layer:
    """One base variant with its services and data objects."""

    dops: tuple[Dop, ...]
    services: tuple[Asked, ...]
    name: str = "engine_a"

    def xml(self) -> str:
        units = "".join(d.unit_xml() for d in self.dops)
        spec = f"<UNIT-SPEC><UNITS>{units}</UNITS></UNIT-SPEC>" if units else ""
        return (
            f'<?xml version="1.0" encoding="UTF-8"?><ODX MODEL-VERSION="2.2.0" xmlns:xsi="{_XSI}">'
            '<DIAG-LAYER-CONTAINER ID="DLC.x"><SHORT-NAME>invented</SHORT-NAME>'
            f'<BASE-VARIANTS><BASE-VARIANT ID="BV.x"><SHORT-NAME>{self.name}</SHORT-NAME>'
            "<DIAG-DATA-DICTIONARY-SPEC>"
            f"<DATA-OBJECT-PROPS>{''.join(d.xml() for d in self.dops)}</DATA-OBJECT-PROPS>{spec}"
            "</DIAG-DATA-DICTIONARY-SPEC>"
            f"<DIAG-COMMS>{''.join(s.service_xml() for s in self.services)}</DIAG-COMMS>"
            f"<REQUESTS>{''.join(s.request_xml() for s in self.services)}</REQUESTS>"
            f"<POS-RESPONSES>{''.join(s.answer_xml() for s in self.services)}</POS-RESPONSES>"
            "</BASE-VARIANT></BASE-VARIANTS></DIAG-LAYER-CONTAINER></ODX>"
        )


def write_data_base(folder: Path, layer: Layer) -> tuple[Path, Database]:
    """The packed data base as odxtools writes it, and as odxtools reads it back."""
    plain, packed = folder / "invented.odx-d", folder / "invented.pdx"
    plain.write_text(layer.xml(), encoding="utf-8")
    odxtools.write_pdx_file(str(packed), odxtools.load_odx_file(str(plain)))
    return packed, odxtools.load_pdx_file(str(packed))
