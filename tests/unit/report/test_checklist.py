"""The report against the field list of a return-to-service record, field by field.

The list has sections A (header) to O (integrity). For each field: where it must stand on the paper, as
text that a reader sees in the PDF, or the reason why no event can fill it yet. At least nine in ten come from events.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from asleft.report.typeset import typeset
from kit import events as kit

if TYPE_CHECKING:
    from .conftest import Reader

AT = "2031-04-17T12:00:00Z"

#: (section and field, text on the paper)
FILLED: tuple[tuple[str, str], ...] = (
    ("A record number", "record GSM-2031-0421"),
    ("A schema version", "asleft-record-v1"),
    ("A shop name", "Gable Street Motors"),
    ("A shop address", "4 Gable Street"),
    ("A shop licence", "licence 0031"),
    ("A order reference", "order 31-0417"),
    ("A customer reference", "customer 117"),
    ("A supersedes", "amends or replaces none"),
    ("B VIN from the plate", f"{kit.VIN} (check digit valid)"),
    ("B VIN read, match", "plate = read yes (engine, brakes)"),
    ("B VIN read by each module", f"VIN {kit.VIN} {kit.VIN} {kit.VIN}"),
    ("B check digit", "check digit valid"),
    ("B plate", "registration plate GS 417"),
    ("B odometer in with source", "84112 km (observed; cluster display)"),
    ("B odometer out with source", "84119 km (measured; PID A6)"),
    ("B propulsion", "fuel, propulsion petrol"),
    ("B variant", "body, variant five doors"),
    ("B tyres", "tyres as left 195/65 R15, 2.3 bar all round"),
    ("C customer's words", "idle goes up and down"),
    ("C work items", "throttle body removed, cleaned and refitted"),
    ("C by whom", "work done by this workshop, M. Okafor"),
    ("C parts fitted", "part fitted gasket ALD-11-204 (from a document; delivery note; SHA-256 of the photo"),
    ("D functions and grade", "idle relearn [idle-relearn] required"),
    ("D reason", "the learned lower stop no longer fits the plate"),
    ("D source of the function", "throttle-stop-learn-by-routine"),
    ("D declined and by whom", "idle relearn declined by the customer"),
    ("D order and why", "needs the engine off and comes before the idle relearn"),
    ("E time of each picture", "2.0 s to 6.2 s on the job's clock"),
    ("E response of each module", "answer silent silent silent"),
    ("E origin of the picture", "by wire over: in-loop bench bus"),
    ("E attached report", "listing of another tester"),
    ("E part number", "part number ALD-906-032"),
    ("E software number", "software number SW 0031"),
    ("E serial number", "serial number E4417-0093"),
    ("E calibration identification", "ALD16-CAL-07"),
    ("E calibration verification number", "1791BC82"),
    ("E coding bytes", "01 4F 20"),
    ("E adaptation values with unit", "14.9 % ["),
    ("E codes with status byte", "status 2F"),
    ("E freeze frame", "P2176 at 0 rpm, 84 °C"),
    ("E readiness", "engine: monitor misfire complete"),
    ("E counter 21", "distance with lamp, measured 3.0 km"),
    ("E counter 30", "warm ups since clear, measured 2"),
    ("E counter 31", "distance since clear, measured 41.0 km"),
    ("E counter 4D", "time with lamp, measured 5.0 min"),
    ("E counter 4E", "time since clear, measured 63.0 min"),
    ("E supply voltage and how", "control module voltage, measured 12.60 V"),
    ("E unreadable items with reason", "refused (NRC 33)"),
    ("F class", "expected after this work"),
    ("F picture it was seen in", "expected after this work as found"),
    ("F who sorted it", "body off asleft"),
    ("F reason", "P2176 is set by taking the throttle body off"),
    ("G procedure id", "Procedure throttle-stop-learn-by-routine"),
    ("G title", "electronic throttle lower-stop learn – run run-1"),
    ("G edition", "Revision, risk class 3, risk 1"),
    ("G source document, edition, page", "demo manual, edition 2, page 41 to 42"),
    ("G kind of source (licence statement)", "Kind of source fictional, for practice"),
    ("G who typed it in", "Numbers typed in by M. Okafor"),
    ("G mode", "way by wire"),
    ("G other tester and software level", "a hand tester, software level 12.4"),
    ("G performer", "hold to start M. Okafor declared"),
    ("G start", "Started 2031-04-17"),
    ("G finish", "Ended 2031-04-17"),
    ("G condition: limit", "12 to 15 V, 5 s"),
    ("G condition: value", "12.63 V met"),
    ("G condition: how long", "held 6.0 s"),
    ("G condition: declared", "ready off, automatic start disabled met declared"),
    ("G raw request", "31 01 02 03"),
    ("G raw response", "71 01 02 03"),
    ("G step timings", "done 61.0 s"),
    ("G refusals with codes", "refused, NRC 22"),
    ("G repeated writes with reason", "deliberate repeat of intent-1"),
    ("G interlocks that acted", "lost while it ran"),
    ("G module states", "engine moving the plate moves"),
    ("G result from module", "the module says stored"),
    ("H measurand", "range of the rest reading, 5 key cycles"),
    ("H signal and source", "samples: rest/throttle-absolute"),
    ("H window", "window: 300.0 to 315.0 s"),
    ("H n and n_eff", "60 (5)"),
    ("H value and u", "0.4 % 0.16 %"),
    ("H expanded uncertainty", "0.3 %"),
    ("H limit and whose", "≤ 1.2 % (ours)"),
    ("H decision rule", "guard band g = 2 u"),
    ("H verdict", "PASS"),
    ("H raw samples", "rest throttle absolute 60 300.0 – 314.8 s"),
    ("I as left", "2.0 s to 6.2 s on the job's clock"),
    ("I received to found", "as received → as found"),
    ("I found to left", "as found → as left"),
    ("I intended", "14.9 % 14.1 % intended"),
    ("I unexplained", "not explained"),
    ("J planned clear, why", "planned clear after the stationary learns"),
    ("J when, modules", "engine, brakes P2176"),
    ("J codes removed", "P2176 (throttle idle position not learned) – engine"),
    ("J authorised by", "planned clear after the stationary learns M. Okafor"),
    ("K driver", "driver M. Okafor"),
    ("K observer", "observer L. Brandt"),
    ("K start, finish", "10:50 to 11:14 UTC"),
    ("K distance", "distance 7 km (measured; PID A6)"),
    ("K speed bands", "50 to 80 km/h: 30 %"),
    ("K ambient", "ambient 14 °C"),
    ("K surface, weather", "dry asphalt, light wind"),
    ("K monitors completed", "misfire, fuel system"),
    ("K codes after", "codes after none"),
    ("K remarks", "pulls away cleanly"),
    ("L open items", "What stays open"),
    ("L CANNOT TELL and what would settle it", "What would settle it: five more key cycles with a warm engine"),
    ("L incomplete monitors", "Monitors not complete: engine: monitor catalyst"),
    ("L items declined", "function declined: idle relearn declined by the customer"),
    ("L advisory findings", "air filter dirty"),
    ("L follow-up", "follow-up: look at the cold start tomorrow"),
    ("M interface serial", "CAN interface, serial 99-0412"),
    ("M interface firmware", "interface's firmware 2.1"),
    ("M last self-check", "loop-back passed"),
    ("M tool version", "Program asleft 0.1.0"),
    ("M tool digest", "5e" * 32),
    ("M digest of procedures", "Procedure text, SHA-256"),
    ("M gauges", "pressure gauge 7, due 2031-09"),
    ("M clock source", "virtual time (simulation)"),
    ("M clock error", "0.4 s (measured; network time)"),
    ("N performer", "Performed by M. Okafor"),
    ("N second person", "L. Brandt, delayed self-check"),
    ("N approver", "approved by L. Brandt"),
    ("N scope sentence", "no other system was assessed"),
    ("N date", "Closed 2031-04-17"),
    ("N acknowledgement", "signed at the counter"),
    ("O digest of the data", "head hash"),
    ("O chain to the previous record", "GSM-2030-0099, head"),
    ("O detached signature", "openssl checks head.sig (Ed25519)"),
    ("O files with digests", "events.jsonl"),
)

#: (section and field, why no event fills it)
REASONED: tuple[tuple[str, str], ...] = (
    ("A issue time with zone", "not an event: the moment of printing, given by whoever prints; it stands in the foot"),
    ("E extended data of codes", "not read in this version; the codes and their freeze frame are"),
    ("G quick or full", "the book has one form of procedure; both kinds are written in it"),
    ("G retries and why", "a repeat of a whole procedure is a run of its own; its question and answer stand before it"),
    ("M gauge on each reading", "readings of gauges are typed as facts with the gauge named; there are none by wire"),
)


@pytest.fixture(scope="module")
def paper() -> bytes:
    events = kit.full_job()
    return typeset(events, kit.head_hash(events), generated=AT, record=kit.record_bytes(events))


@pytest.mark.parametrize(("field", "text"), FILLED, ids=[f for f, _ in FILLED])
def test_field(field: str, text: str, seen: str) -> None:
    """A reader finds it on the paper."""
    assert " ".join(text.split()) in seen, field


@pytest.fixture(scope="module")
def seen(paper: bytes, tmp_path_factory: pytest.TempPathFactory) -> str:
    from .conftest import read_text

    return read_text(paper, tmp_path_factory.mktemp("paper"))


def test_nine_in_ten_are_filled_from_events() -> None:
    assert len(FILLED) / (len(FILLED) + len(REASONED)) >= 0.9
    assert all(reason for _, reason in REASONED)
    sections = {field[0] for field, _ in FILLED}
    assert sections == set("ABCDEFGHIJKLMNO")


def test_issue_time_stands_on_every_page(paper: bytes, reader: Reader) -> None:
    assert "issued 2031-04-17 12:00:00 UTC" in reader.text(paper, 2)
