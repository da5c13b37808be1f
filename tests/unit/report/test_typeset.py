"""The PDF, read by programs that know nothing of this project: pikepdf and poppler."""

from __future__ import annotations

import hashlib
import io
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
import pikepdf
import pytest

from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.model.errors import AsleftError, Code
from asleft.model.origin import Origin
from asleft.report.profile import Profile
from asleft.report.typeset import typeset
from kit import events as kit

if TYPE_CHECKING:
    from .conftest import Reader

AT = "2031-04-17T12:00:00Z"
NASTY = {
    "markup": '#panic() $x$ \\ *b* _e_ `raw` <label> @ref // /* = - + ~ #read("/etc/passwd") [c] {d} "q" \'p\'',
    "long": "W" * 300,
    "right to left": "שלום \u202eevil\u202c العربية",
    "no glyph": "😀 中文 \ue000 \U000e0041",
    "controls": "a\x00b\x1bc\u200bd\ufeff\r\ne",
    "much": "many words of a very talkative person " * 60,
}


def pdf_of(events: tuple[Event, ...], paper: str = "a4") -> bytes:
    return typeset(events, kit.head_hash(events), paper=paper, generated=AT, record=kit.record_bytes(events))


@pytest.fixture(scope="module")
def demo() -> bytes:
    return pdf_of(kit.demo_job())


def test_pdf_a_3a_with_the_record_inside(demo: bytes) -> None:
    """ISO 19005-3: identification in XMP, output intent, tags, language, the attachment with its relationship."""
    events = kit.demo_job()
    with pikepdf.open(io.BytesIO(demo)) as pdf:
        with pdf.open_metadata() as metadata:
            assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("3", "A")
        assert pdf.Root.Lang == "en"
        assert pdf.Root.MarkInfo.Marked
        assert "/StructTreeRoot" in pdf.Root
        assert "/OutputIntents" in pdf.Root
        assert list(pdf.attachments) == ["events.jsonl"]
        assert pdf.attachments["events.jsonl"].get_file().read_bytes() == kit.record_bytes(events)
        assert str(pdf.Root.AF[0].AFRelationship) == "/Source"
        assert str(pdf.docinfo["/CreationDate"]).startswith("D:20310417120000")
        for page in pdf.pages:
            assert {str(f.FontDescriptor.get("/FontName", "")) for f in _fonts(page)} != {""}


def _fonts(page: pikepdf.Page) -> list[pikepdf.Object]:
    fonts = page.Resources.get("/Font", {})
    return [f.DescendantFonts[0] for f in fonts.values() if "/DescendantFonts" in f]


@pytest.mark.parametrize(("paper", "points"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_paper(paper: str, points: tuple[int, int]) -> None:
    with pikepdf.open(io.BytesIO(pdf_of(kit.replay_job(), paper))) as pdf:
        box = [float(x) for x in pdf.pages[0].mediabox]
    assert (round(box[2]), round(box[3])) == points


def test_the_same_events_give_the_same_bytes_in_another_process(demo: bytes, tmp_path: Path) -> None:
    """No hidden clock, no order of a set, no path in the file."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); from kit import events as k; e = k.demo_job();"
        "from asleft.report.typeset import typeset;"
        f"open(sys.argv[2], 'wb').write(typeset(e, k.head_hash(e), generated={AT!r}, record=k.record_bytes(e)))"
    )
    tests = Path(__file__).resolve().parents[2]
    subprocess.run([sys.executable, "-c", code, str(tests), str(tmp_path / "again.pdf")], check=True, cwd=tmp_path)
    assert (tmp_path / "again.pdf").read_bytes() == demo


def test_page_one_as_a_reader_sees_it(demo: bytes, reader: Reader) -> None:
    text = reader.text(demo, 1)
    for words in (
        "Gable Street Motors",
        f"{kit.VIN} (check digit valid)",
        "yes (engine, brakes)",
        "throttle body removed, cleaned and refitted",
        "PASS",
        "NOT DONE",
        "P2176",
        "idle-relearn: idle relearn is needed; the book has no procedure yet",
        "The listed functions were performed and judged as shown; no other system was assessed.",
        "M. Okafor",
        kit.head_hash(kit.demo_job()),
        "asleft verify record.zip",
        "BENCH – simulated car",
    ):
        assert words in text, words
    assert "Details" not in text


@pytest.mark.parametrize("name", ["bench", "replay", "vehicle"])
def test_origin_on_every_page(name: str, reader: Reader) -> None:
    """The word in the header of each page; a vehicle's report carries no other (the watermark: see the next test)."""
    job, words, times = {
        "bench": (kit.demo_job(Origin.BENCH), "origin: BENCH – simulated car", 1),
        "replay": (kit.replay_job(), "origin: REPLAY of a recording", 1),
        "vehicle": (kit.demo_job(Origin.VEHICLE), "origin: vehicle", 1),
    }[name]
    pdf = pdf_of(job)
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        pages = len(opened.pages)
    assert pages >= 2
    for page in range(1, pages + 1):
        text = reader.text(pdf, page)
        assert text.count(words) >= times, page
        if name == "vehicle":
            assert "BENCH" not in text
            assert "REPLAY" not in text


def test_the_watermark_is_drawn_on_every_page(tmp_path: Path) -> None:
    """Seen as a picture: a large grey sign stands on a bench page where a vehicle's page is white."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm (poppler-utils) is not on this machine")
    grey = {}
    for origin in (Origin.BENCH, Origin.VEHICLE):
        file = tmp_path / f"{origin.value}.pdf"
        file.write_bytes(pdf_of(kit.demo_job(origin)))
        command = ["pdftoppm", "-r", "40", "-gray", str(file), str(tmp_path / origin.value)]
        subprocess.run(command, check=True, capture_output=True)
        pages = sorted(tmp_path.glob(f"{origin.value}-*.pgm"))
        grey[origin] = [sum(0xDE <= byte <= 0xEA for byte in p.read_bytes()[15:]) for p in pages]
    assert len(grey[Origin.BENCH]) >= 4
    for marked, bare in zip(grey[Origin.BENCH], grey[Origin.VEHICLE], strict=True):
        assert marked - bare > 700


#: Those that show nothing but their length.
LONG = {"long", "much", "controls"}


@pytest.mark.parametrize("name", [pytest.param(n, marks=pytest.mark.full) if n in LONG else n for n in NASTY])
def test_hostile_text_is_harmless(name: str, reader: Reader) -> None:
    """Shown as it is, never carried out, page 1 stays one page, the file stays PDF/A."""
    events = kit.hostile_job(NASTY[name])
    pdf = pdf_of(events)
    with pikepdf.open(io.BytesIO(pdf)) as opened, opened.open_metadata() as metadata:
        assert metadata["pdfaid:conformance"] == "A"
    assert "head hash" in reader.text(pdf, 1)
    assert "How to check this paper" in reader.text(pdf, 1)
    assert reader.text(pdf, 2).find("Details") >= 0
    text = reader.text(pdf)
    assert "FAIL" in text
    if name == "markup":
        for piece in ("#panic()", "$x$", "*b*", "_e_", "`raw`", "<label>", "@ref", '#read("/etc/passwd")', "{d}"):
            assert piece in text, piece
    if name == "no glyph":
        assert "[U+1F600]" in text
        assert "[U+4E2D]" in text
    if name == "right to left":
        assert "[U+202E]" in text


def test_page_one_stays_one_page_however_much_there_is(reader: Reader) -> None:
    """Forty work items, twenty attempts, sixty codes, forty criteria: cut with a line that says so, whole behind."""
    codes = tuple(kit.TroubleCode(f"P{n:04d}", "engine", text="of many") for n in range(60))
    job = kit.Job()
    work = tuple(kit.WorkItem(f"w{n}", f"work item number {n}") for n in range(40))
    job.add(msgspec.structs.replace(kit.opened(), work_items=work))
    for kind in (kit.RECEIVED, kit.FOUND, kit.LEFT):
        job.add(b.PictureTaken(kit.picture(kind, job.now_s, "14.1", codes)))
    for n in range(20):
        job.add(kit.started(f"r{n}"), *(b.CriterionJudged(f"r{n}", j) for j in kit.proof(passes=False)))
        job.add(b.RunEnded(f"r{n}", kit.RunEnd.COMPLETED, kit.Verdict.FAIL, kit.say("x", "again")))
        job.add(b.ItemLeftOpen(f"item {n}", kit.say("x", "open")))
    pdf = pdf_of(job.close("done"))
    first = reader.text(pdf, 1)
    assert "How to check this paper" in first
    assert first.count("see the details") >= 4
    assert reader.text(pdf, 2).find("Details") >= 0
    assert "work item number 39" in reader.text(pdf)


def test_a_draft_says_so_on_every_page(reader: Reader) -> None:
    pdf = pdf_of(kit.interrupted_job())
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        for page in range(1, len(opened.pages) + 1):
            assert "not finished – draft" in reader.text(pdf, page)
    assert "Not finished – draft" in reader.text(pdf, 1)


def test_details_hold_what_page_one_leaves_out(demo: bytes, reader: Reader) -> None:
    text = reader.text(demo)
    for words in (
        "31 01 02 03",
        "engine 7E0/7E8, serial E4417-0093",
        "done (by the routine's result)",
        "typed from the manual by M. Okafor",
        "demo manual, edition 2, page 41",
        "12 to 15 V, 5 s",
        "NOT KNOWN (this car does not give intake air temperature)",
        "declared",
        "waived by M. Okafor: workshop at 21 °C by thermometer",
        "The plate moves by itself and snaps shut",
        "guard band g = 2 u",
        "refused (NRC 33)",
        "expected after this work",
        "9 active minutes, 14 minutes elapsed",
    ):
        assert words in text, words


def test_what_cannot_be_set_is_a_clear_error() -> None:
    events = kit.replay_job()
    head, record = kit.head_hash(events), kit.record_bytes(events)
    wrong = [
        ({"paper": "a5"}, Code.PAPER_UNKNOWN),
        ({"generated": "soon"}, Code.TIME_UNREADABLE),
        ({"record": record[:-200]}, Code.RECORD_DAMAGED),
        ({"record": record.replace(b"Gable", b"Gaple")[: len(record)] + b"x\n"}, Code.RECORD_DAMAGED),
        ({"profile": Profile(language="xx")}, Code.LANGUAGE_UNKNOWN),
    ]
    for changed, code in wrong:
        with pytest.raises(AsleftError) as error:
            typeset(events, head, **{"generated": AT, "record": record, **changed})
        assert error.value.code is code


def test_a_wrong_head_hash_is_refused() -> None:
    events = kit.replay_job()
    with pytest.raises(AsleftError) as error:
        typeset(events, "00" * 32, generated=AT, record=kit.record_bytes(events))
    assert error.value.code is Code.RECORD_DAMAGED


def test_without_the_record_the_paper_says_so(reader: Reader) -> None:
    events = kit.replay_job()
    pdf = typeset(events, kit.head_hash(events), generated=AT)
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert not list(opened.attachments)
    assert "not attached to this PDF" in reader.text(pdf, 1)


def test_issue_time_with_parts_of_a_second_and_a_zone(reader: Reader) -> None:
    events = kit.replay_job()
    pdf = typeset(events, kit.head_hash(events), generated="2031-04-17T14:00:00.250+02:00")
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert str(opened.docinfo["/CreationDate"]).startswith("D:20310417120000")
    assert "issued 2031-04-17 14:00:00 +02:00" in reader.text(pdf, 1)


SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"><rect width="10" height="10" fill="#123456"/></svg>'
PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de0000000c49444154789c63f8cfc0000003010100c9fe92ef"
    "0000000049454e44ae426082"
)


@pytest.mark.parametrize("mark", [SVG, PNG], ids=["svg", "png"])
def test_letterhead_and_mark(mark: bytes, reader: Reader) -> None:
    """The workshop's own lines and its picture, with a text for whoever does not see it; still PDF/A."""
    events = kit.replay_job()
    profile = Profile(letterhead=("4 Gable Street #1", "Licence $0031$"), mark=mark)
    pdf = typeset(events, kit.head_hash(events), generated=AT, profile=profile)
    assert "4 Gable Street #1 · Licence $0031$" in reader.text(pdf, 1)
    with pikepdf.open(io.BytesIO(pdf)) as opened, opened.open_metadata() as metadata:
        assert metadata["pdfaid:conformance"] == "A"
    assert len(pdf) > len(typeset(events, kit.head_hash(events), generated=AT))


@pytest.mark.parametrize(
    "mark",
    [b"GIF89a", b"", PNG[:40], b"<svg", b'<svg xmlns="http://www.w3.org/2000/svg"><text>\xf0\x9f\x98\x80</text></svg>'],
    ids=["gif", "none", "cut png", "cut svg", "no glyph"],
)
def test_a_mark_that_cannot_be_printed_is_a_clear_error(mark: bytes) -> None:
    events = kit.replay_job()
    if not mark:
        assert typeset(events, kit.head_hash(events), generated=AT, profile=Profile(mark=mark))
        return
    with pytest.raises(AsleftError) as error:
        typeset(events, kit.head_hash(events), generated=AT, profile=Profile(mark=mark))
    assert error.value.code is Code.MARK_UNREADABLE


def test_a_redacted_copy_names_no_car_and_no_customer(reader: Reader) -> None:
    """The last eight signs of the VIN, nothing of the customer, no record inside; the judgement is all there."""
    events = kit.full_job()
    profile = Profile(redacted=True)
    pdf = typeset(events, kit.head_hash(events), generated=AT, record=kit.record_bytes(events), profile=profile)
    text = reader.text(pdf)
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert not list(opened.attachments)
        assert kit.VIN not in str(opened.docinfo)
    assert kit.VIN not in text
    assert kit.VIN.encode().hex().upper() not in text
    assert kit.VIN[-8:] in text
    for personal in (
        "GS 417",
        "84112",
        "order 31-0417",
        "customer 117",
        "idle goes up and down",
        "signed at the counter",
    ):
        assert personal not in text, personal
    assert "Redacted copy" in reader.text(pdf, 1)
    assert "CANNOT TELL" in text


def test_a_german_paper_for_letter_size(reader: Reader) -> None:
    events = kit.demo_job()
    pdf = typeset(events, kit.head_hash(events), paper="letter", generated=AT, profile=Profile(language="de"))
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert opened.Root.Lang == "de"
    text = reader.text(pdf)
    assert "PRÜFSTAND" in reader.text(pdf, 1)
    assert "[nicht übersetzt]" in text
    assert "NICHT GETAN" in text


def test_long_recordings_of_the_record_are_attached_beside_it(reader: Reader) -> None:
    """Files of the record by their own names, each with its size and digest on the paper."""
    events = kit.demo_job()
    chunk, name = b'{"times_s":[1],"values":[2]}', "chunks/" + "ab" * 32
    record = kit.record_bytes(events)
    pdf = typeset(events, kit.head_hash(events), generated=AT, record=record, files={name: chunk})
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert sorted(opened.attachments) == sorted([name, "events.jsonl"])
        assert opened.attachments[name].get_file().read_bytes() == chunk
    assert hashlib.sha256(chunk).hexdigest() in reader.text(pdf)


def test_a_personal_text_that_the_record_withholds_is_said_to_be_withheld(reader: Reader) -> None:
    """Erased or not at hand: no commitment on the paper as if it were the text; a VIN is compared all the same."""
    vin, raw = "personal:" + "0a" * 32, "personal:" + "0b" * 32
    job = kit.Job()
    opened = kit.opened()
    vehicle = msgspec.structs.replace(opened.vehicle, vin=msgspec.structs.replace(opened.vehicle.vin, text=vin))
    job.add(msgspec.structs.replace(opened, vehicle=vehicle, order="personal:" + "0c" * 32))
    engine = kit.ModulePicture(kit.ENGINE, True, (kit.Item("vin", "VIN", vin, raw),))
    job.add(b.PictureTaken(kit.Picture(kit.FOUND, 0.0, 1.0, (engine,))))
    events = job.done()
    text = reader.text(typeset(events, kit.head_hash(events), generated=AT))
    assert "withheld by the record (0a0a0a0a…)" in text
    assert "withheld by the record (0c0c0c0c…)" in text
    assert "personal:" not in text
    assert "plate = read yes (engine)" in text
