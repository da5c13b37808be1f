"""Control of the car on the page: who may confirm, taking over with a reason, handing this device on."""

from __future__ import annotations

import asyncio
import dataclasses
import re
from pathlib import Path

import httpx
import pytest

from asleft.event import body as b
from asleft.event.fold import fold
from asleft.model.control import ControlHow, Holder
from asleft.web.access import DEVICE
from asleft.web.app import make_app
from asleft.web.context import SheetPage, Viewer
from asleft.web.rendering import render
from asleft.web.sight import Engine
from kit.gallery import StandIn, bodies, cut_after, store, whole_job

HOST = "127.0.0.1:8899"
OURS, OTHERS = "device-0000AA", "device-0000BB"
ENGINE = Engine(True, "bench", "bus", "Gable Street Motors", "M. Okafor", "J-1", bench=True)


def asked_effect(holder: Holder | None, viewer: Viewer) -> str:
    """The part ``next`` while an effect waits for its confirmation."""
    events = cut_after(whole_job(), b.QuestionAsked, 1, "effect.confirm")
    state = fold(events)
    moves = (b.ControlMoved(holder.by, holder.device, ControlHow.TAKEN, "", "", ""),) if holder else ()
    state = dataclasses.replace(state, control=moves)
    engine = dataclasses.replace(ENGINE, job=state.number)
    return render("parts/next.html", SheetPage("t", state.number, engine, state, "0" * 64, True, viewer))


@pytest.mark.parametrize(
    ("holder", "shown"),
    [
        (None, "hold to"),
        (Holder("M. Okafor", OURS), "hold to"),
        (Holder("M. Okafor", OTHERS), "Take control over"),
        (Holder("A. Novak", OURS), "Take control over"),
    ],
)
def test_only_who_has_control_can_confirm(holder: Holder | None, shown: str) -> None:
    page = asked_effect(holder, Viewer("M. Okafor", device=OURS))
    assert shown in page
    assert ("hold to" in page) != ("Take control over" in page)


def test_who_only_watches_is_offered_nothing() -> None:
    page = asked_effect(Holder("A. Novak", OTHERS), Viewer("", acts=False, device=OURS))
    assert "<form" not in page
    assert "You are watching" in page


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    store(tmp_path, "J-1", bodies(cut_after(whole_job(), b.QuestionAsked, 1, "effect.confirm")))
    return tmp_path


def press(folder: Path, **form: str) -> tuple[int, list[dict[str, object]]]:
    """Send the control form from one device; what the engine was told."""
    with StandIn(folder) as engine:
        engine.job = "J-1"

        async def go() -> int:
            transport = httpx.ASGITransport(make_app(folder))
            async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as browser:
                first = await browser.get("/job/J-1")
                assert re.fullmatch(r"device-[0-9A-F]{6}", browser.cookies[DEVICE])
                token = re.findall(r'name="token" value="([^"]+)"', first.text)[0]
                browser.cookies.set(DEVICE, OURS, domain="127.0.0.1")
                headers = {"cookie": f"{DEVICE}={OURS}", "accept": "application/json"}
                return (
                    await browser.post("/job/J-1/control", data={"token": token, **form}, headers=headers)
                ).status_code

        status = asyncio.run(go())
        return status, [t for t in engine.told if t["command"] != "status"]


def test_taking_over_carries_name_device_and_reason(folder: Path) -> None:
    status, told = press(folder, move="take", by="A. Novak", reason="tablet 1 is broken")
    assert status == 200
    assert told == [
        {"command": "take-control", "job": "J-1", "by": "A. Novak", "device": OURS, "reason": "tablet 1 is broken"}
    ]


def test_handing_this_device_on_and_letting_go(folder: Path) -> None:
    _, told = press(folder, move="hand-over", by="M. Okafor", to="A. Novak")
    assert [(t["by"], t["device"], t["to_by"], t["to_device"]) for t in told] == [("M. Okafor", OURS, "A. Novak", OURS)]
    _, told = press(folder, move="give-up", by="M. Okafor")
    assert [(t["command"], t["to_by"], t["to_device"]) for t in told] == [("hand-over", "", "")]
