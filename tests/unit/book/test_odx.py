"""Data bases written with odxtools come in as reads, routines and writes, and run against a module built from them."""

from __future__ import annotations

import os
import zipfile
from pathlib import Path

import pytest
from odxtools.database import Database
from tests.kit.odx_writer import Asked, Dop, Layer, linear, table, write_data_base

from asleft.bench.bus import InLoopBus
from asleft.bench.clock import StepClock
from asleft.bench.identifiers import Identifier, Write, stored
from asleft.bench.module import Address, ControlModule
from asleft.bench.routines import Routine
from asleft.bench.transport import IsoTpNode, TransportSettings
from asleft.book.dry_run import dry_run
from asleft.book.identifier import Identifier as RoutineId
from asleft.book.identifier import parse
from asleft.book.loader import read_procedure
from asleft.book.odx import read_odx, variants_of
from asleft.book.odx_text import Frame, odx_procedure
from asleft.book.procedure import Printed, Procedure, Way
from asleft.book.scaled import decode, encode
from asleft.model.errors import AsleftError, Code, InputError
from asleft.model.step_more import Read, TypeIn
from asleft.model.step_more import Write as WriteStep

CHECKS = Path(os.environ.get("ASLEFT_CHECKS", Path(__file__).resolve().parents[4] / "shared" / "checks"))
TEXT_TYPE = (
    '<DIAG-CODED-TYPE BASE-DATA-TYPE="A_ASCIISTRING" xsi:type="STANDARD-LENGTH-TYPE">'
    "<BIT-LENGTH>40</BIT-LENGTH></DIAG-CODED-TYPE>"
)
WORDS = {(0, 0): "idle", (1, 1): "moving", (2, 2): "stored"}

DOPS = (
    Dop("volts", 16, computed=linear(0, 1, 1000), unit="V"),
    Dop("kelvins", 8, computed=linear(-40, 1), unit="degC"),
    Dop("trim", 16, "A_INT32", computed=linear(0, 0.0078125), unit="%", attributes='BASE-TYPE-ENCODING="2C"'),
    Dop("little", 16, attributes='IS-HIGHLOW-BYTE-ORDER="false"', physical="A_UINT32"),
    Dop("phase", 3, computed=table(WORDS), physical="A_UNICODE2STRING"),
    Dop("part", coded=TEXT_TYPE, physical="A_UNICODE2STRING"),
    Dop("ranged", 8, computed=table({(0, 9): "low", (10, 99): "high"}), physical="A_UNICODE2STRING"),
    Dop("float", 32, "A_FLOAT32", "A_FLOAT32"),
    Dop("strange", 8, physical="A_UINT32", unit="furlong"),
    Dop("wide", 12, physical="A_UINT32"),
)
TRIMS = (("trim", "trim", 3, 0), ("count", "little", 5, 0), ("phase", "phase", 7, 2))
SERVICES = (
    Asked("extended", "1003", "5003"),
    Asked("supply", "222A01", "622A01", (), (("volts", "volts", 3, 0), ("coolant", "kelvins", 5, 0))),
    Asked(
        "trims", "222A02", "622A02", (), (("trim", "trim", 3, 0), ("count", "little", 5, 0), ("phase", "phase", 7, 2))
    ),
    Asked("part_number", "22F187", "62F187", (), (("part", "part", 3, 0),)),
    Asked("idle_offset", "2E2B00", "6E2B00", (("offset", "trim", 3, 0),)),
    Asked("learn_start", "31015A31", "71015A31"),
    Asked("learn_result", "31035A31", "71035A31"),
    Asked("other_start", "31015A32", "71015A32"),
    Asked("ranged", "222A10", "622A10", (), (("ranged", "ranged", 3, 0),)),
    Asked("float", "222A11", "622A11", (), (("float", "float", 3, 0),)),
    Asked("strange", "222A12", "622A12", (), (("strange", "strange", 3, 0),)),
    Asked("wide", "222A13", "622A13", (), (("wide", "wide", 3, 0),)),
    Asked("given", "31015A33", "71015A33", (("how", "little", 4, 0),)),
    Asked("two_values", "2E2B01", "6E2B01", (("a", "kelvins", 3, 0), ("b", "kelvins", 4, 0))),
    Asked("restart", "1101", "5101"),
    Asked("short", "2205", "6205", (), (("a", "kelvins", 2, 0),)),
    Asked("strange_service", "BA01", "FA01"),
)
FRAME = Frame("throttle-stop-learn", "M. Okafor", make="Aldra", model="1.6")
#: Physical values as odxtools takes them, and what our scaling must give.
TRUE = {"volts": 12.6, "coolant": 83.0, "trim": -12.5, "count": 1000, "phase": "stored", "part": "E1620"}


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Database]:
    return write_data_base(tmp_path_factory.mktemp("odx"), Layer(DOPS, SERVICES))


def test_each_service_is_taken_or_refused_with_why(written: tuple[Path, Database]) -> None:
    found = read_odx(written[0])
    assert found.variant == "engine_a"
    assert [s.text for s in found.taken] == [
        "extended: session 03",
        "supply: read 2A01: volts (number, V), coolant (number, °C)",
        "trims: read 2A02: trim (number, %), count (number, 1), phase (coded, 1)",
        "part_number: read F187: part (text, 1)",
        "idle_offset: write 2B00: offset (number, %)",
        "learn_start: routine start 5A31",
        "learn_result: routine result 5A31",
        "other_start: routine start 5A32",
    ]
    assert found.refused == {
        "ranged": "ranged: a text for a range of values",
        "float": "float: base type A_FLOAT32",
        "strange": "strange: unit 'furlong'",
        "wide": "wide: 12 bit(s) from bit 0 on, over more than one byte",
        "given": "a routine that is given how",
        "two_values": "a write of 2 values; one is wanted",
        "restart": "service 11: a restart belongs to the program, not to a procedure's data",
        "short": "its identifier has 1 fixed byte(s); two are wanted",
        "strange_service": "service BA is none that a step sends",
    }


def answer_of(database: Database, service: str) -> bytes:
    """The answer's bytes as odxtools encodes the true values."""
    layer = database.diag_layers[0]
    response = next(s for s in layer.services if s.short_name == service).positive_responses[0]
    request = bytes(next(s for s in layer.services if s.short_name == service).request.coded_const_prefix())
    values = {p.short_name: TRUE[p.short_name] for p in response.parameters if p.short_name in TRUE}
    return bytes(response.encode(coded_request=request, **values))


class Bench:
    """A bench module made from the data base, and a tester beside it."""

    def __init__(self, database: Database) -> None:
        reads = [Identifier(int.from_bytes(a[1:3], "big"), n, initial=a[3:]) for n, a in self._answers(database)]
        offset = stored(0x2B00, "offset", b"\x00\x00", write=Write())
        routine = Routine(0x5A31, "learn", takes_s=0.0)
        address = Address.normal(0x7E0, 0x7E8)
        self.clock = StepClock()
        bus = InLoopBus(self.clock)
        self.module = ControlModule("engine", address, identifiers=[*reads, offset], routines=[routine])
        self.module.attach(bus, self.clock)
        self.module.power_on()
        self.heard: list[bytes] = []
        settings = TransportSettings(address.response, address.request)
        self.node = IsoTpNode(bus, self.clock, settings, lambda data, _: self.heard.append(data), name="tester")
        self.clock.run_until(2.0)

    @staticmethod
    def _answers(database: Database) -> list[tuple[str, bytes]]:
        return [(name, answer_of(database, name)) for name in ("supply", "trims", "part_number")]

    def ask(self, request: bytes) -> bytes:
        self.heard.clear()
        self.node.send(request, functional=False)
        self.clock.run_until(self.clock.now() + 0.5)
        return self.heard[-1]


def imported(path: Path, *names: str) -> Procedure:
    text = odx_procedure(read_odx(path), names, FRAME)
    return read_procedure(text.encode(), "p.yaml").procedure


def sent(procedure: Procedure, identifier: RoutineId | None = None) -> list[bytes]:
    lines = dry_run(procedure, Way.BY_WIRE, identifier)
    return [bytes.fromhex(one) for line in lines for one in line.sends]


def test_what_comes_in_runs_against_a_module_from_the_same_data_base(written: tuple[Path, Database]) -> None:
    path, database = written
    procedure = imported(path, "extended", "supply", "trims", "part_number", "learn_start", "learn_result")
    bench = Bench(database)
    answers = [bench.ask(request) for request in sent(procedure, parse("5A31", Printed.HEX))]
    assert all(answer[0] != 0x7F for answer in answers)
    reads = [step for step in procedure.ways.by_wire if isinstance(step, Read)]
    assert len(reads) == 6
    for step in reads:
        answer = bench.ask(b"\x22" + bytes.fromhex(step.identifier))
        assert decode(step.scaling, answer[3:]) == TRUE[step.name], step.name
    units = {step.name: step.scaling.unit for step in reads}
    assert (units["volts"], units["coolant"], units["trim"]) == ("V", "°C", "%")


def test_requests_are_those_that_odxtools_sends(written: tuple[Path, Database]) -> None:
    path, database = written
    services = {s.short_name: s for s in database.diag_layers[0].services}
    for name in ("extended", "supply", "trims", "part_number", "learn_start", "learn_result"):
        identifier = parse("5A31", Printed.HEX) if name.startswith("learn") else None
        procedure = imported(path, *(["learn_start"] if name == "learn_result" else []), name)
        assert bytes(services[name].encode_request()) in sent(procedure, identifier), name


def test_a_write_reads_first_is_typed_and_carries_the_bytes_that_odxtools_makes(written: tuple[Path, Database]) -> None:
    path, database = written
    procedure = imported(path, "extended", "idle_offset")
    read, typed, write = procedure.ways.by_wire[1:]
    assert isinstance(read, Read)
    assert isinstance(typed, TypeIn)
    assert isinstance(write, WriteStep)
    assert (read.identifier, write.saved, typed.unit) == ("2B00", typed.save, "%")
    bench = Bench(database)
    bench.ask(bytes.fromhex("1003"))
    before = bench.ask(b"\x22\x2b\x00")[3:]
    ours = b"\x2e\x2b\x00" + encode(write.scaling, "-12.5", before)
    service = next(s for s in database.diag_layers[0].services if s.short_name == "idle_offset")
    assert ours == bytes(service.encode_request(offset=-12.5))
    assert bench.ask(ours) == bytes.fromhex("6E2B00")
    assert decode(read.scaling, bench.ask(b"\x22\x2b\x00")[3:]) == -12.5


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (["ranged"], "a text for a range"),
        (["nothing"], "no service of this name"),
        (["learn_start", "other_start"], "one procedure has one routine"),
    ],
)
def test_what_is_beyond_the_form_is_refused(written: tuple[Path, Database], names: list[str], said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        odx_procedure(read_odx(written[0]), names, FRAME)
    assert caught.value.code is Code.IMPORT_IMPOSSIBLE


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"<ODX/>", b"\x00" * 100])
def test_what_is_no_data_base_is_told(tmp_path: Path, data: bytes) -> None:
    for name in ("x.pdx", "x.odx-d"):
        (tmp_path / name).write_bytes(data)
        with pytest.raises(AsleftError) as caught:
            read_odx(tmp_path / name)
        assert caught.value.code is Code.IMPORT_IMPOSSIBLE
    with pytest.raises(InputError):
        variants_of(tmp_path / "absent.pdx")


def test_a_packed_bomb_is_not_unpacked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("asleft.book.odx.MAX_BYTES", 100_000)
    with zipfile.ZipFile(tmp_path / "bomb.pdx", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("a.odx-d", b"\x00" * 200_000)
    with pytest.raises(InputError, match="unpacks to too much"):
        variants_of(tmp_path / "bomb.pdx")


@pytest.mark.skipif(not (CHECKS / "odx").is_dir(), reason="the ODX example is not on this machine")
@pytest.mark.parametrize("file", ["somersault.pdx", "somersault_modified.pdx"])
def test_the_published_example_comes_in_as_far_as_the_form_goes(file: str) -> None:
    """Example of odxtools (MIT). Its services are those of a circus: sessions come in, all else is named."""
    path = CHECKS / "odx" / file
    with pytest.raises(InputError, match="choose a variant"):
        read_odx(path)
    for variant in ("somersault_lazy", "somersault_assiduous"):
        found = read_odx(path, variant)
        assert "a job is a program; a book holds none" in found.refused.values()
        assert "its identifier has 1 fixed byte(s); two are wanted" in found.refused.values()
        assert [s.kind for s in found.taken] == ["session"]
        text = odx_procedure(found, [found.taken[0].name], FRAME)
        procedure = read_procedure(text.encode(), "p.yaml").procedure
        assert sent(procedure)[0] == bytes((0x10, found.taken[0].identifier))
