"""What the workshop wrote itself is in the book of the next job, and a bad file takes nothing with it."""

from __future__ import annotations

import asyncio
import re
from pathlib import Path

import pytest

from asleft.event.fold import fold
from asleft.job import engine as engine_module
from asleft.job.book_quick import keep_quick
from asleft.job.book_read import own_folder
from asleft.job.own_book import with_own
from asleft.job.planning import needs_and_plan
from kit.bench_job import own_book
from kit.gallery import whole_job

FORM = {
    "function": "idle-relearn",
    "page": "12-40",
    "action": "started on the other tester",
    "result": "idle comes down",
    "initials": "M. O.",
    "make": "Aldra",
    "model": "1.6",
    "first": "2010",
    "last": "2020",
}


@pytest.fixture(autouse=True)
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ASLEFT_DATA", str(tmp_path))
    return tmp_path


def test_without_own_procedures_the_book_is_the_programs() -> None:
    book = own_book(idle=True)
    assert with_own(book) is book


def test_a_quick_procedure_is_planned_for_the_car_it_is_for() -> None:
    state = fold(whole_job())
    book = own_book(idle=False)
    _, before = needs_and_plan(state, book)
    assert {s.function: s.procedure for s in before.steps}["idle-relearn"] == ""
    name = keep_quick(FORM).id
    _, after = needs_and_plan(state, with_own(book))
    assert {s.function: s.procedure for s in after.steps}["idle-relearn"] == name


def test_one_without_a_make_is_taken_by_no_job() -> None:
    keep_quick({**FORM, "make": "", "model": "", "first": "", "last": ""})
    _, plan = needs_and_plan(fold(whole_job()), with_own(own_book(idle=False)))
    assert {s.function: s.procedure for s in plan.steps}["idle-relearn"] == ""


def test_an_own_procedure_replaces_one_of_the_same_name_and_a_bad_file_only_itself() -> None:
    book = own_book(idle=True)
    own_folder().mkdir()
    mine = next(p for p in book.procedures if p.procedure.id == "idle-relearn-aldra").text
    text = re.sub(r"(?m)^revision: \d+", "revision: 7", mine)
    (own_folder() / "idle-relearn-aldra.yaml").write_text(text, encoding="utf-8")
    (own_folder() / "bad.yaml").write_text("id: [", encoding="utf-8")
    found = with_own(book)
    assert found.procedure("idle-relearn-aldra").procedure.revision == 7
    assert len(found.procedures) == len(book.procedures)
    assert [p.file for p in found.problems] == ["bad.yaml"]


def test_the_engine_reads_it_at_the_begin_of_each_job(data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[set[str]] = []

    async def worked(desk: object, *_more: object) -> None:
        seen.append({p.procedure.id for p in desk.book.procedures})  # type: ignore[attr-defined]

    monkeypatch.setattr(engine_module, "work_job", worked)

    async def begin() -> None:
        from asleft.job.channel import LiveFeed
        from asleft.job.clock import LoopClock
        from asleft.job.serving import workshop_desk
        from asleft.job.workshop import Workshop
        from asleft.model.origin import ClockKind
        from asleft.talk.policy import WritesPolicy

        feed = LiveFeed()
        engine = engine_module.Engine(
            data, workshop_desk(Workshop(), LoopClock(ClockKind.REAL), feed), WritesPolicy(), feed
        )
        for _ in range(2):

            class Nothing:
                def events(self) -> tuple[object, ...]:
                    return ()

                def give_back(self) -> None:
                    return None

            await engine._work(engine._desk, Nothing(), None)  # type: ignore[arg-type]
            keep_quick(FORM)
        engine._journals.close()

    asyncio.run(begin())
    assert "quick-idle-relearn-m-o" not in seen[0]
    assert "quick-idle-relearn-m-o" in seen[1]
