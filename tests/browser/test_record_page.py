"""The page that checks a record, in the real browser, without a network: it agrees with the program and the recipe."""

from __future__ import annotations

import base64
import json
import re
import subprocess
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect, sync_playwright

from asleft.record.export import record_of
from asleft.record.journal import open_journal
from asleft.record.keys import SigningKey, revoke, rotate
from asleft.record.page import verifier_page
from asleft.record.plainzip import packed
from asleft.record.verify import verify, verify_members
from kit.chosen import few
from kit.damage import KINDS, damaged, good_record
from kit.record_kit import small_job

pytestmark = pytest.mark.browser

DOC = Path(__file__).resolve().parents[2] / "docs" / "record-format.md"
RECORDS = DOC.parents[1] / "tests" / "vectors" / "records"
EACH = 20


@pytest.fixture(scope="module")
def page(chromium: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """The page from a file, in a browser that is offline."""
    path = tmp_path_factory.mktemp("page") / "verifier.html"
    path.write_bytes(verifier_page())
    with sync_playwright() as playwright:
        arguments = ["--no-sandbox", "--disable-background-networking"]
        browser = playwright.chromium.launch(executable_path=chromium, args=arguments)
        context = browser.new_context(offline=True, viewport={"width": 820, "height": 1180})
        page = context.new_page()
        page.goto(path.as_uri())
        yield page
        browser.close()


@pytest.fixture(scope="module")
def members(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    return good_record(tmp_path_factory.mktemp("good"))


def by_page(page: Page, record: bytes, held: str = "") -> dict[str, object]:
    script = "([text, held]) => checkRecord(Uint8Array.from(atob(text), c => c.charCodeAt(0)), held)"
    return page.evaluate(script, [base64.b64encode(record).decode(), held])


def by_hand(folder: Path, members: dict[str, bytes]) -> bool:
    block = re.search(r"```sh\n(.*?)```", DOC.read_text("utf-8"), re.DOTALL)
    assert block is not None
    (folder / "chunks").mkdir(parents=True)
    for name, content in members.items():
        (folder / name).write_bytes(content)
    return subprocess.run(["sh", "-c", block[1]], cwd=folder, capture_output=True, check=False).returncode == 0


def test_a_good_record_is_intact_in_all_three_ways(tmp_path: Path, page: Page, members: dict[str, bytes]) -> None:
    said = by_page(page, packed(members))
    result = verify_members(members)
    assert said["intact"], said
    assert result.intact
    assert by_hand(tmp_path / "r", members)
    assert (said["job"], said["origin"], said["events"], said["head"], said["key"], said["closed"]) == (
        result.job, result.origin, result.events, result.head, result.key, True)  # fmt: skip


@pytest.mark.parametrize("kind", few(KINDS, {"bytes", "cut", "key"}))
def test_twenty_damaged_ones_of_each_kind_are_found(
    tmp_path: Path, page: Page, members: dict[str, bytes], kind: str
) -> None:
    """By the program and the page all twenty, by the recipe, which takes longer, two of them."""
    for number, (text, changed) in enumerate(damaged(members, kind, EACH)):
        assert not verify_members(changed).intact, text
        assert not by_page(page, packed(changed))["intact"], text
        if number < 2:
            assert not by_hand(tmp_path / str(number), changed), text


@pytest.mark.full
@pytest.mark.timeout(900)
@pytest.mark.parametrize("kind", KINDS)
def test_all_three_ways_agree_on_all_of_them(tmp_path: Path, page: Page, members: dict[str, bytes], kind: str) -> None:
    for number, (text, changed) in enumerate(damaged(members, kind, EACH, seed=2)):
        said = verify_members(changed).intact, by_page(page, packed(changed))["intact"]
        assert said == (False, False), text
        assert not by_hand(tmp_path / str(number), changed), text


def test_a_container_that_is_not_the_plain_one(tmp_path: Path, page: Page, members: dict[str, bytes]) -> None:
    plain = packed(members)
    another_time = plain[:11] + b"\1" + plain[12:]
    cases = {"behind": plain + b"x", "before": b"x" + plain, "time": another_time, "cut": plain[:-1], "nothing": b""}
    for name, content in cases.items():
        (tmp_path / "r.zip").write_bytes(content)
        assert not verify(tmp_path / "r.zip").intact, name
        assert not by_page(page, content)["intact"], name


@pytest.mark.parametrize("version", ["v0", "v1"])
def test_the_golden_records_are_intact_in_the_page(page: Page, version: str) -> None:
    expected = json.loads((RECORDS / version / "expected.json").read_text())
    for path in sorted((RECORDS / version).glob("*.zip")):
        said, whole = by_page(page, path.read_bytes()), expected[path.stem]
        assert said["intact"], (path.stem, said)
        for name in ("job", "origin", "events", "head", "key", "closed"):
            assert said[name] == whole[name], path.stem


#: From when on a key is revoked whose seals are of 2031-04-17, and whether they hold then.
REVOKED = {"2031-05-01T00:00:00.000Z": True, "2031-04-17T08:00:00.000Z": False, "2031-01-01T00:00:00.000Z": False,
           "": False}  # fmt: skip


@pytest.mark.parametrize("since", REVOKED)
def test_all_three_ways_agree_on_revoked_keys(tmp_path: Path, page: Page, since: str) -> None:
    key = SigningKey.load_or_make(tmp_path / "k")
    with open_journal(tmp_path / "k", key=key) as journals, small_job(journals) as journal:
        rotate(tmp_path / "k", wall="2031-05-02T08:00:00.000Z", reason="stolen")
        about = {"wall": "2031-05-02T08:00:00.000Z", "reason": 'it said "since":"1999" there'}
        revoke(tmp_path / "k", key.signer.public, since=since, **about)
        members = record_of(journal, SigningKey.load_or_make(tmp_path / "k")).members()
    said = verify_members(members).intact, by_page(page, packed(members))["intact"], by_hand(tmp_path / "r", members)
    assert said == (REVOKED[since],) * 3


def test_all_three_ways_agree_on_a_record_of_a_newer_program(tmp_path: Path, page: Page) -> None:
    """Types that nobody knows: what they name and commit to is found all the same."""
    with zipfile.ZipFile(RECORDS / "v1" / "newer-types.zip") as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    (chunk,) = [name for name in members if name.startswith("chunks/")]
    without = {name: content for name, content in members.items() if name != chunk}
    for number, (changed, good) in enumerate(((members, True), (without, False))):
        assert verify_members(changed).intact is good
        assert by_page(page, packed(changed))["intact"] is good
        assert by_hand(tmp_path / str(number), changed) is good


def test_a_held_head(page: Page, members: dict[str, bytes]) -> None:
    head = members["head"].decode().strip()
    assert by_page(page, packed(members), head)["intact"]
    assert not by_page(page, packed(members), "0" * 64)["intact"]


def test_what_a_person_sees(tmp_path: Path, page: Page, members: dict[str, bytes]) -> None:
    record = tmp_path / "record.zip"
    record.write_bytes(packed(members))
    page.set_input_files("#file", record)
    expect(page.locator("#result h2")).to_have_text("✓ Intact: every check held")
    expect(page.locator("#result")).to_contain_text("origin bench")
    changed = {**members, "events.jsonl": members["events.jsonl"].replace(b"left as shown", b"left as shewn")}
    (tmp_path / "changed.zip").write_bytes(packed(changed))
    page.set_input_files("#file", tmp_path / "changed.zip")
    expect(page.locator("#result h2")).to_contain_text("✗ Not intact")
    page.screenshot(path=tmp_path / "page.png", full_page=True)
