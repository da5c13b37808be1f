"""The demo job's paper: the field list of a return-to-service record, every number traced, PDF/A's required entries.

The list has sections A (header) to O (integrity). A field is filled when a reader sees it in the PDF, or has a reason
why this job cannot fill it. The job is played once for all tests (``demo_papers``).
"""

from __future__ import annotations

import io
import json
from pathlib import Path

import pikepdf
import pytest

from asleft.event.envelope import Event
from asleft.record.container import members_of
from asleft.record.storing import from_stored
from asleft.report.parts import View
from asleft.report.profile import Profile
from asleft.report.typeset import typeset
from asleft.report.view import view
from kit import events as kit
from kit.evidence import evidence_job
from kit.paper import lines
from kit.tracing import untraced

from .conftest import read_text

#: (section and field, text on the paper)
FILLED: tuple[tuple[str, str], ...] = (
    ("A record number", "record 2031-0001"),
    ("A schema version", "asleft-record-v1"),
    ("A shop name", "Gable Street Motors (fictional)"),
    ("A shop address", "4 Gable Street (fictional) (declared; settings of the workshop)"),
    ("A shop licence", "licence 0031 (fictional) (declared"),
    ("A order reference", "Order idle hunts; throttle body removed, cleaned and refitted"),
    ("A customer reference", "customer 117"),
    ("A supersedes", "amends or replaces none"),
    ("B VIN from the plate", "(check digit valid)"),
    ("B VIN read, match", "plate = read yes (engine, brakes, body, cluster, gateway)"),
    ("B check digit", "check digit valid"),
    ("B plate", "registration plate GS 417 (observed; plate)"),
    ("B odometer in with source", "odometer in 84112 km (observed; cluster display)"),
    ("B odometer out with source", "odometer out 84112 km (observed; cluster display)"),
    ("B propulsion", "petrol (observed; filler cap)"),
    ("B variant", "five doors (observed; the car)"),
    ("B tyres", "tyres as left not touched"),
    ("C customer's words", "the idle goes up and down, worst at the lights (declared; customer)"),
    ("C work items", "throttle body removed, cleaned and refitted [throttle-removed-refitted]"),
    ("C by whom", "work done by this workshop, M. Okafor"),
    ("C parts fitted", "gasket ALD-11-204 (from a document; delivery note 3381)"),
    ("D functions and grade", "idle relearn [idle-relearn] required"),
    ("D reason", "P2176-00 is stored in engine: Closed position of the throttle not learned"),
    ("D source of the function", "throttle-stop-learn-aldra"),
    ("D declined and by whom", "function declined none (declared; customer)"),
    ("D order and why", "before idle relearn: idle opening is counted from the stop"),
    ("E time of each picture", "s on the job's clock"),
    ("E response of each module", "answer answered answered answered"),
    ("E origin of the picture", "by wire over: bench bus"),
    ("E part number", "part number ENG-1620-2"),
    ("E hardware number", "hardware number ENG-H620"),
    ("E software number", "software number ENGSW1620"),
    ("E serial number", "serial number 81440984"),
    ("E calibration identification", "calibration identification ENGSW16200330"),
    ("E calibration verification number", "66DC2600"),
    ("E coding bytes", "021140AC"),
    ("E adaptation values with unit", "14.45 % ["),
    ("E codes with status byte", "status AF"),
    ("E freeze frame", "engine: frozen coolant temperature"),
    ("E readiness", "engine: monitor misfire complete"),
    ("E counter 21", "distance with lamp, measured"),
    ("E counter 30", "warm ups since clear, measured"),
    ("E counter 31", "distance since clear, measured"),
    ("E counter 4D", "time with lamp, measured"),
    ("E counter 4E", "time since clear, measured"),
    ("E supply voltage and how", "control module voltage, measured 12.40 V"),
    ("E unreadable items with reason", "not supported: the car does not support it"),
    ("F class", "expected after this work"),
    ("F picture it was seen in", "expected after this work as found"),
    ("F who sorted it", "it must be gone in the end asleft"),
    ("F reason", "P2176 is expected after this work"),
    ("G procedure id", "Procedure throttle-stop-learn-aldra"),
    ("G quick, draft or full", "Level of trust draft"),
    ("G title", "Electronic throttle lower-stop learn, Aldra 1.6 petrol – run throttle-stop-learn-1"),
    ("G edition", "Revision, risk class"),
    (
        "G source document, edition, page",
        "Aldra 1.6 workshop manual, engine management (fictional), edition 4, page 12-31",
    ),
    ("G kind of source (licence statement)", "Kind of source fictional, for practice"),
    ("G who typed it in", "Numbers typed in by M. Okafor"),
    ("G mode", "way by wire"),
    ("G performer", "start M. Okafor declared"),
    ("G start", "Started 2031-04-17"),
    ("G finish", "Ended 2031-04-17"),
    ("G condition: limit", "12.0 to 15.0 V"),
    ("G condition: value", "13.55 V met"),
    ("G condition: how long", "held 3.0 s"),
    ("G condition: declared", "declared page 12-31"),
    ("G raw request", "31 01 5A 31"),
    ("G raw response", "71 01 5A 31"),
    ("G step timings", "key cycle 1 of 5 done"),
    ("G act timings by hand", "Acts by hand, attempt 1"),
    ("G refusals", "refusals by modules none"),
    ("G repeated writes", "deliberate repeats none"),
    ("G interlocks that acted", "interlocks lost while a run went on none"),
    ("G retries", "procedures begun again none"),
    ("G module states", "engine moving the plate moves"),
    ("G result from module", "the module says stored"),
    ("H measurand", "Range of the throttle's rest reading over 5 key cycles"),
    ("H signal and source", "samples: rest/1, rest/2"),
    ("H window", "window:"),
    ("H n and n_eff", "303 (5)"),
    ("H value and u", "0.0 % 0.16 %"),
    ("H expanded uncertainty", "0.16 % 0.3 %"),
    ("H limit and whose", "≤ 1.2 % (ours)"),
    ("H a limit as printed", "as printed"),
    ("H decision rule", "guard band g = 2 u"),
    ("H verdict", "PASS"),
    ("H raw samples", "rest/1 throttle absolute 61"),
    ("I as left", "as left"),
    ("I received to found", "as received → as found"),
    ("I found to left", "as found → as left"),
    ("I intended", "14.45 % 12.54 % intended"),
    ("I unexplained", "not explained"),
    ("J planned clear, why", "the one planned clear"),
    ("J when, modules", "engine, brakes, body, cluster, gateway P2176"),
    ("J codes removed", "P2176-00 (Closed position of the throttle not learned) – engine"),
    ("J authorised by", "the one planned clear M. Okafor"),
    ("K road test", "no road test: the car stood on the bench the whole time"),
    ("L open items", "cold start next morning"),
    ("L incomplete monitors", "Monitors not complete: engine: monitor catalyst"),
    ("L items declined", "function declined none"),
    ("L advisory findings", "air filter dirty (observed; eye)"),
    ("L follow-up", "cold start tomorrow morning; two weeks' driving"),
    ("M interface serial", "bench interface, serial 99-0412"),
    ("M interface firmware", "none: the bench bus is a part of the program"),
    ("M tool version", "Program asleft"),
    ("M tool digest", "program's digest"),
    ("M digest of procedures", "Procedure text, SHA-256"),
    ("M gauges", "hand thermometer 3, check due 2031-09"),
    ("M clock source", "virtual time (simulation)"),
    ("M clock error", "not known: the time is simulated"),
    ("N performer", "Performed by M. Okafor"),
    ("N second person", "none: risk class 1"),
    ("N approver", "approved by L. Brandt"),
    ("N scope sentence", "no other system was assessed"),
    ("N date", "Closed 2031-04-17"),
    ("N acknowledgement", "told what stays open and the air filter (declared; customer)"),
    ("O digest of the data", "head hash"),
    ("O detached signature", "openssl checks head.sig (Ed25519)"),
    ("O files with digests", "events.jsonl"),
)

#: (section and field, why this job cannot fill it)
REASONED: tuple[tuple[str, str], ...] = (
    ("A issue time with zone", "not an event: the moment of printing, given by whoever prints; it stands in the foot"),
    ("E attached report", "every module was read by wire; tests with another job print one"),
    ("E extended data of codes", "not read in this version; the codes and their freeze frame are"),
    ("G other tester and its software level", "no step was done beside one; tests with another job print one"),
    ("K driver, observer", "no road test was made; tests with another job print them"),
    ("K start, finish, distance, speed bands", "no road test was made; tests with another job print them"),
    ("K ambient, surface, weather", "no road test was made; tests with another job print them"),
    ("K monitors completed, codes after, remarks", "no road test was made; tests with another job print them"),
    ("M last self-check of the interface", "the bench bus has none"),
    ("O chain to the previous record", "the first record of this car; tests with a second visit have one"),
)


@pytest.fixture(scope="module")
def job(demo_papers: Path) -> tuple[Event, ...]:
    """The demo's events as its record holds them."""
    members = members_of(demo_papers / "record.zip")[0]
    personal = {r["commitment"]: r["value"] for r in map(json.loads, members["personal.jsonl"].splitlines())}
    stored = members["events.jsonl"].splitlines()
    return tuple(from_stored(line, lambda name: members.get(f"chunks/{name}"), personal) for line in stored)


@pytest.fixture(scope="module")
def paper(demo_papers: Path) -> bytes:
    """The PDF as the demo left it."""
    return (demo_papers / "report.pdf").read_bytes()


@pytest.fixture(scope="module")
def words(paper: bytes, tmp_path_factory: pytest.TempPathFactory) -> str:
    """What a reader reads in it."""
    return read_text(paper, tmp_path_factory.mktemp("paper"))


def test_every_field_is_filled_from_events_or_has_a_reason(words: str) -> None:
    missing = [field for field, text in FILLED if " ".join(text.split()) not in words]
    assert not missing
    assert all(reason for _, reason in REASONED)
    assert {field[0] for field, _ in FILLED} == set("ABCDEFGHIJKLMNO")
    assert len(FILLED) / (len(FILLED) + len(REASONED)) >= 0.9


@pytest.fixture(scope="module")
def seen(job: tuple[Event, ...]) -> View:
    """The paper before its layout."""
    return view(job, "00", generated="2031-04-17T12:00:00Z")


def test_every_number_is_held_by_an_event_of_its_line(job: tuple[Event, ...], seen: View) -> None:
    """Not only named: the printed digits stand in one of the events, or follow from them by a rule of the kit."""
    by_number = {event.sequence: event for event in job}
    loose = [
        (text, found)
        for text, events in lines(seen)
        if events and (found := untraced(text, [by_number[n] for n in events]))
    ]
    assert not loose


def test_a_number_that_no_event_holds_is_found(job: tuple[Event, ...], seen: View) -> None:
    """The test above can fail: a digit changed on the paper, or the wrong events behind a line."""
    by_number = {event.sequence: event for event in job}
    stop = next(r for r in seen.front.numbers.rows if "learned lower stop" in r.cells[0].text)
    behind = [by_number[n] for n in stop.events]
    assert untraced("14.45", behind) == []
    assert untraced("14.46", behind) == ["14.46"]
    assert untraced("14.45", [job[0]]) == ["14.45"]
    assert untraced("2031-04-17 08:59:59 UTC", behind)


def test_what_pdf_a_3_asks_of_a_file(paper: bytes) -> None:
    """ISO 19005-3:2012: 6.1.2 header, 6.1.3 trailer, 6.2.2 intent, 6.2.11.4 fonts, 6.6 metadata, 6.7 tags, 6.8 files.

    No independent validator is at hand: these are the entries that a validator looks for first.
    """
    with pikepdf.open(io.BytesIO(paper)) as pdf:
        root = pdf.Root
        with pdf.open_metadata() as metadata:
            assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("3", "A")
            assert metadata["dc:title"] == pdf.docinfo["/Title"]
            assert metadata["xmp:CreateDate"]
        assert paper.startswith(b"%PDF-1.")
        assert all(byte > 127 for byte in paper.split(b"\n", 2)[1][1:5])
        assert "/ID" in pdf.trailer
        assert not pdf.is_encrypted
        assert root.MarkInfo.Marked
        assert "/StructTreeRoot" in root
        assert root.Lang == "en"
        (intent,) = root.OutputIntents
        assert str(intent.S) == "/GTS_PDFA1"
        assert len(intent.DestOutputProfile.read_bytes()) > 100
        for name, file in pdf.attachments.items():
            spec = next(f for f in root.AF if str(f.UF) == name)
            assert str(spec.AFRelationship) == "/Source"
            assert file.get_file().mime_type
        for forbidden in ("/JavaScript", "/Launch", "/EmbeddedGoTo"):
            assert forbidden.encode() not in paper
        assert "/OpenAction" not in root
        assert "/AA" not in root
        fonts = [f for page in pdf.pages for f in page.Resources.get("/Font", {}).values()]
        kept = [d.FontDescriptor for f in fonts for d in f.get("/DescendantFonts", [f])]
        assert fonts
        assert all(any(f"/FontFile{n}" in k for n in ("", 2, 3)) for k in kept)
        assert all("/ToUnicode" in f for f in fonts)
        for page in pdf.pages:
            assert "/StructParents" in page.obj
            assert str(page.obj.get("/Tabs", "/S")) == "/S"


JOBS = {"full": kit.full_job, "fail": kit.fail_job, "interrupted": kit.interrupted_job, "evidence": evidence_job}


@pytest.mark.parametrize("name", JOBS)
def test_every_number_of_other_jobs_is_held_too(name: str) -> None:
    """Facts, refusals, repeats, a fail, an interruption, acts by hand, marks, a retest."""
    events = JOBS[name]()
    by_number = {event.sequence: event for event in events}
    said = lines(view(events, "00", generated="2031-04-17T12:00:00Z"))
    loose = [(text, found) for text, ns in said if ns and (found := untraced(text, [by_number[n] for n in ns]))]
    assert not loose


def test_both_languages_stand_behind_the_same_events(job: tuple[Event, ...]) -> None:
    english = view(job, "00", generated="2031-04-17T12:00:00Z")
    german = view(job, "00", generated="2031-04-17T12:00:00Z", profile=Profile(language="de"))
    assert [events for _, events in lines(english)] == [events for _, events in lines(german)]


@pytest.mark.full
def test_the_program_prints_it_again_to_the_byte(demo_papers: Path, job: tuple[Event, ...], paper: bytes) -> None:
    members = members_of(demo_papers / "record.zip")[0]
    stored = members["events.jsonl"]
    files = {name: content for name, content in sorted(members.items()) if name.startswith("chunks/")}
    head = members["head"].decode().strip()
    again = typeset(job, head, generated=job[-1].wall, record=stored, files=files, profile=Profile())
    assert again == paper
