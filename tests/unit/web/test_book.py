"""The book on the page: found with reasons, read without a surprise, checked unseen, written in four minutes."""

from __future__ import annotations

import hashlib
import html
import re
from pathlib import Path

import pytest

from asleft.job.book_read import own_folder, prompts, read_entry
from kit.asgi import get, post

QUICK = {
    "function": "idle-relearn",
    "page": "12-40",
    "entry": "coolant 80-100 degC\nP, parking brake on",
    "action": 'the other tester: "idle", start',
    "result": "idle comes down and stays",
    "limits": "idle 750 +/- 50 rpm",
    "initials": "M. O.",
    "make": "Aldra",
    "model": "1.6",
    "first": "2010",
    "last": "2020",
}
NASTY = "<script>alert(1)</script>\"'\u202e{{ 7*7 }}"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Data of the workshop and of the page in one place of the test's own."""
    monkeypatch.setenv("ASLEFT_DATA", str(tmp_path))
    return tmp_path


def alerts(text: str) -> list[str]:
    return [html.unescape(t) for t in re.findall(r'role="alert">([^<]*)', text)]


def test_found_with_reason_and_with_what_differs(folder: Path) -> None:
    page = get(folder, "/book?words=idle&make=Aldra&model=1.6&year=2019").text
    assert page.index("idle-relearn-aldra") < page.index("idle-proof")
    assert "Found: fits this car exactly" in page
    assert "it is for no make by itself" in page
    other = get(folder, "/book?words=idle&make=Brevik&model=1.6&year=2019").text
    assert "make: it is for Aldra, not Brevik" in html.unescape(other)
    assert "fits this car</span>" not in other


def test_a_search_that_cannot_be_read_says_so(folder: Path) -> None:
    answer = get(folder, "/book?year=abcd")
    assert answer.status_code == 400
    assert "four digits" in alerts(answer.text)[0]


def test_every_number_stands_as_printed_as_value_and_as_bytes(folder: Path) -> None:
    page = html.unescape(get(folder, "/book/throttle-stop-learn-aldra").text)
    entry = read_entry("throttle-stop-learn-aldra")
    for line in entry.numbers:
        assert f'<th scope="row">{line.place}</th>' in page
        assert line.value in page
        assert line.sends in page
    for way, lines in entry.ways.items():
        assert f'id="h-{way}"' in page
        for line in lines:
            for sent in line.sends:
                assert bytes.fromhex(sent).hex(" ").upper() in page


def test_a_procedure_that_is_not_there_is_not_found(folder: Path) -> None:
    for path in (
        "/book/nope",
        "/book/nope/check",
        "/book/..%2f..%2fetc%2fpasswd",
        "/book/throttle-stop-learn-aldra/rehearse",
    ):
        assert get(folder, path).status_code == 404, path


# -- quick ---------------------------------------------------------------------------------------------------------


def test_a_quick_procedure_is_valid_at_once_for_work_beside(folder: Path) -> None:
    shown = post(folder, "/book/quick", what="read", **QUICK)
    assert shown.status_code == 200
    for told in (
        "measured</span> coolant 80-100 degC",
        "declared</span> P, parking brake on",
        "judged</span> idle 750",
    ):
        assert told in shown.text
    assert not own_folder().exists(), "showing how it is read keeps nothing"
    kept = post(folder, "/book/quick", what="keep", **QUICK)
    assert kept.status_code == 303
    entry = read_entry("quick-idle-relearn-m-o")
    assert entry.allowed.level == "quick"
    assert entry.allowed.may == {"bench beside": "", "vehicle beside": ""}
    assert "valid at once" in get(folder, kept.headers["location"]).text
    found = get(folder, "/book?words=idle&make=Aldra&model=1.6&year=2015").text
    assert "quick-idle-relearn-m-o" in found


def test_a_second_one_never_writes_over_the_first(folder: Path) -> None:
    names = [post(folder, "/book/quick", what="keep", **QUICK).headers["location"] for _ in range(2)]
    assert names[0] != names[1]
    assert len(list(own_folder().glob("*.yaml"))) == 2


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("page", " ", "page is missing"),
        ("function", "nope", "no function"),
        ("first", "20x9", "four digits"),
        ("entry", "coolant 80-100 V", "unit"),
        ("action", "x" * 2001, "at most 2000"),
    ],
)
def test_what_cannot_be_used_comes_back_filled_in_and_nothing_is_kept(
    folder: Path, field: str, value: str, words: str
) -> None:
    answer = post(folder, "/book/quick", what="keep", **{**QUICK, field: value})
    assert answer.status_code == 400
    assert words in alerts(answer.text)[0]
    assert 'value="Aldra"' in answer.text
    assert not list(own_folder().glob("*.yaml"))


def test_hostile_text_in_every_field_is_kept_as_text(folder: Path) -> None:
    form = {**QUICK, **dict.fromkeys(("title", "action", "result", "make", "model", "edition"), NASTY)}
    kept = post(folder, "/book/quick", what="keep", **form)
    assert kept.status_code == 303, alerts(kept.text)
    page = get(folder, kept.headers["location"]).text
    assert "<script>alert" not in page
    assert "{{ 7*7 }}" in html.unescape(page)
    found = get(folder, "/book", params={"words": NASTY, "make": NASTY}).text
    assert "<script>alert" not in found


def test_a_form_without_the_token_keeps_nothing(folder: Path) -> None:
    assert post(folder, "/book/quick", token="x", what="keep", **QUICK).status_code == 403
    assert post(folder, "/book/idle-proof/change", token="x", what="withdraw", by="M", why="y").status_code == 403
    assert not own_folder().exists()


# -- second typing, edits, withdrawing -------------------------------------------------------------------------------


def numbers(name: str) -> dict[str, str]:
    """What the page of the manual says: here, what the file says."""
    from asleft.book.loader import load_procedure
    from asleft.book.trust import from_page
    from asleft.job.book_read import book_path

    return {n.place: n.text for n in from_page(load_procedure(book_path(name)))}


def test_the_second_typing_shows_no_number_and_counts_when_all_agree(folder: Path) -> None:
    name = "idle-relearn-aldra"
    page = html.unescape(get(folder, f"/book/{name}/check").text)
    assert all(f'name="n:{place}"' in page for place in prompts(name))
    assert set(re.findall(r'name="n:[^>]*value="([^"]*)"', page)) == {""}
    typed = {f"n:{place}": text for place, text in numbers(name).items()}
    done = post(folder, f"/book/{name}/check", by="L. Brandt", **typed)
    assert done.status_code == 303, alerts(done.text)
    assert read_entry(name).allowed.level == "checked"


def test_a_typing_that_differs_names_the_place_but_not_the_number(folder: Path) -> None:
    name = "idle-relearn-aldra"
    typed = {f"n:{place}": text for place, text in numbers(name).items()}
    place = next(iter(numbers(name)))
    answer = post(folder, f"/book/{name}/check", by="L. Brandt", **{**typed, f"n:{place}": "4711"})
    assert answer.status_code == 400
    assert place in alerts(answer.text)[0]
    assert numbers(name)[place] not in alerts(answer.text)[0].replace(place, "")
    assert 'value="4711"' in answer.text, "what was typed is not lost"
    assert read_entry(name).allowed.level == "draft"


def test_who_typed_it_first_does_not_check_at_once(folder: Path) -> None:
    name = "idle-relearn-aldra"
    typed = {f"n:{place}": text for place, text in numbers(name).items()}
    answer = post(folder, f"/book/{name}/check", by="m okafor", **typed)
    assert answer.status_code == 400
    assert "the same person checks after" in alerts(answer.text)[0]


def test_the_programs_own_book_is_not_edited_and_an_own_file_keeps_its_remarks(folder: Path) -> None:
    refused = post(folder, "/book/idle-relearn-aldra/change", what="set", place="entry[1].low", value="500")
    assert refused.status_code == 400
    assert "own book" in alerts(refused.text)[0]
    own_folder().mkdir(parents=True)
    text = (Path(str(read_text_of("idle-relearn-aldra")))).read_text("utf-8")
    mine = own_folder() / "mine.yaml"
    mine.write_text(text.replace("id: idle-relearn-aldra", "id: mine  # ours"), encoding="utf-8")
    changed = post(folder, "/book/mine/change", what="set", place="entry[1].low", value="500")
    assert changed.headers["location"] == "/book/mine?done=numbers"
    assert "# ours" in mine.read_text("utf-8")
    assert read_entry("mine").procedure.entry[0].low == 500.0
    bad = post(folder, "/book/mine/change", what="set", place="entry[1].low", value="warm")
    assert bad.status_code == 400
    assert read_entry("mine").procedure.entry[0].low == 500.0


def test_edit_by_form_says_what_is_wrong_and_writes_nothing_before_it_is_kept(folder: Path) -> None:
    """A copy of the program's, a value by its words, the lint beside it, kept whole or not at all."""
    name = "throttle-stop-learn-aldra"
    assert get(folder, f"/book/{name}/edit").status_code == 400
    assert post(folder, f"/book/{name}/copy", token="x").status_code == 403
    copied = post(folder, f"/book/{name}/copy")
    assert copied.headers["location"] == f"/book/{name}/edit"
    assert "already" in alerts(post(folder, f"/book/{name}/copy").text)[0]
    page = html.unescape(get(folder, f"/book/{name}/edit").text)
    assert "Supply at the engine module, in V: at least" in page
    digest = re.findall(r'name="digest" value="([0-9a-f]{64})"', page)[0]
    mine = own_folder() / f"{name}.yaml"
    before = mine.read_bytes()
    for typed, said in (
        ("warm", "is not read as a number"),
        ("99", "low is above high"),
        ("[1, 2]", "no single value"),
    ):
        told = html.unescape(post(folder, f"/book/{name}/lint", **{"v:entry[3].low": typed}).text)
        assert said in told
        assert "Nothing is written" in told
        refused = post(folder, f"/book/{name}/edit", digest=digest, **{"v:entry[3].low": typed})
        assert refused.status_code == 400
        assert f'value="{html.escape(typed)}"' in refused.text, "it comes back as typed"
    good = {"v:entry[3].low": "11.8"}
    assert "A number is another one" in post(folder, f"/book/{name}/lint", **good).text
    looked = post(folder, f"/book/{name}/edit?look=1", digest=digest, **good)
    assert looked.status_code == 200
    assert mine.read_bytes() == before
    assert post(folder, f"/book/{name}/edit", digest="0" * 64, **good).status_code == 400, "changed meanwhile"
    kept = post(folder, f"/book/{name}/edit", digest=digest, **good)
    assert kept.headers["location"] == f"/book/{name}?done=numbers"
    assert read_entry(name).procedure.entry[2].low == 11.8
    assert read_entry(name).procedure.revision == 2
    assert "nothing was changed" in alerts(post(folder, f"/book/{name}/edit", digest=sha(mine)).text)[0]


def test_the_whole_file_as_text_and_hostile_values(folder: Path) -> None:
    name = "idle-proof"
    post(folder, f"/book/{name}/copy")
    mine = own_folder() / f"{name}.yaml"
    text = mine.read_text("utf-8")
    told = html.unescape(post(folder, f"/book/{name}/lint", text=text.replace("revision:", "revison:")).text)
    assert '"revison" is no key here' in told
    assert "line " in told
    for bad in ("a: &x [*x]", "\x00", "- " * 3000, "{" * 500, "x" * 39_000, "!!python/object:os.system {}"):
        answer = post(folder, f"/book/{name}/lint", text=bad)
        assert answer.status_code in (200, 400), bad[:20]
        assert "Nothing is written" in answer.text or answer.status_code == 400
    nasty = post(folder, f"/book/{name}/lint", **{"v:name": NASTY})
    assert "<script>alert" not in nasty.text
    kept = post(folder, f"/book/{name}/edit", digest=sha(mine), **{"v:name": NASTY})
    assert kept.status_code in (303, 400)
    assert "<script>alert" not in get(folder, f"/book/{name}").text
    changed = mine.read_text("utf-8").replace("module: engine", "module: engine  # ours")
    kept = post(folder, f"/book/{name}/edit", digest=sha(mine), text=changed)
    assert kept.headers["location"] == f"/book/{name}?done=changed"
    assert "# ours" in mine.read_text("utf-8")


def sha(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def read_text_of(name: str) -> Path:
    from asleft.job.book_read import book_path

    return book_path(name)


def test_withdrawn_and_restored_with_name_and_reason(folder: Path) -> None:
    name = "throttle-stop-learn-aldra"
    assert post(folder, f"/book/{name}/change", what="withdraw", by="", why="x").status_code == 400
    assert (
        post(folder, f"/book/{name}/change", what="withdraw", by="L. Brandt", why="page 41 is out of date").status_code
        == 303
    )
    assert read_entry(name).allowed.withdrawn == "page 41 is out of date"
    assert "Withdrawn: page 41" in get(folder, f"/book/{name}").text
    assert post(folder, f"/book/{name}/change", what="restore", by="L. Brandt").status_code == 303
    assert not read_entry(name).allowed.withdrawn
    assert post(folder, f"/book/{name}/change", what="nope", by="L. Brandt").status_code == 400
