"""Several identifiers in one request, and never a wrong value."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from asleft.bench.bus import InLoopBus
from asleft.job.clock import LoopClock, run_virtual
from asleft.model.reading import Absence, AbsenceKind
from asleft.talk.conversations import Conversations
from asleft.talk.identifiers import IdentifierReader
from asleft.talk.pace import ModulePace
from kit.fake_module import ENGINE, FakeModule, Script, open_link, silent

CONTENT = {0xF187: b"EN-12", 0xF188: b"SW77", 0xF18C: b"1234567", 0xF190: b"V" * 17}


def module(content: dict[int, bytes], most: int = 99) -> Script:
    """Answers several identifiers; more than ``most`` at once are refused with 13, unknown ones left out or 31."""

    def script(request: bytes) -> list[tuple[float, bytes]]:
        dids = [int.from_bytes(request[i : i + 2], "big") for i in range(1, len(request), 2)]
        if len(dids) > most:
            return [(0.005, bytes.fromhex("7F2213"))]
        parts = [did.to_bytes(2, "big") + content[did] for did in dids if did in content]
        return [(0.005, b"\x62" + b"".join(parts) if parts else bytes.fromhex("7F2231"))]

    return script


def read(
    script: Script, known: ModulePace, dids: tuple[int, ...] = tuple(CONTENT)
) -> tuple[dict, ModulePace, list[str]]:
    async def main(clock: LoopClock) -> tuple[dict, ModulePace, list[str]]:
        bus = InLoopBus(clock)
        link = await open_link(bus, clock)
        engine = FakeModule(bus, clock, ENGINE, script)
        async with Conversations(link, clock, lambda _: None) as talk:
            reader = IdentifierReader(talk, ENGINE, known)
            return await reader.read(dids), reader.pace, engine.requests

    return run_virtual(main)


def test_unknown_lengths_are_read_one_by_one_and_learned() -> None:
    """Four requests the first time, one the second; the same data."""
    found, pace, requests = read(module(CONTENT), ModulePace())
    assert found == CONTENT
    assert len(requests) == 4
    again, _, requests = read(module(CONTENT), pace)
    assert again == CONTENT
    assert requests == ["22F187F188F18CF190"]


def test_a_module_that_takes_fewer_is_given_fewer() -> None:
    """Refused with 13: one by one this time, half as many the next."""
    _, pace, _ = read(module(CONTENT), ModulePace())
    found, pace, requests = read(module(CONTENT, most=2), pace)
    assert found == CONTENT
    assert requests[0] == "22F187F188F18CF190"
    assert pace.at_once == 2
    found, _, requests = read(module(CONTENT, most=2), pace)
    assert found == CONTENT
    assert requests == ["22F187F188", "22F18CF190"]


def test_a_replaced_module_with_other_lengths_costs_time_not_truth() -> None:
    """The lengths of the old module do not fit: asked again one by one, values are those of the new one."""
    _, pace, _ = read(module(CONTENT), ModulePace())
    other = CONTENT | {0xF187: b"EN-12-B", 0xF18C: b"99"}
    found, pace, _ = read(module(other), pace)
    assert found == other
    assert pace.lengths[0xF187] == 7


def test_what_is_missing_has_its_reason() -> None:
    """One that the module leaves out of a group is asked alone and refused."""
    _, pace, _ = read(module(CONTENT), ModulePace())
    fewer = {did: data for did, data in CONTENT.items() if did != 0xF188}
    found, _, _ = read(module(fewer), pace)
    assert found[0xF188] == Absence(AbsenceKind.UNSUPPORTED, refusal=0x31)
    assert {did: data for did, data in found.items() if isinstance(data, bytes)} == fewer


def test_a_silent_module_is_asked_one_thing() -> None:
    """All absent; two requests in all."""
    found, _, requests = read(silent, ModulePace())
    assert all(isinstance(data, Absence) and data.kind is AbsenceKind.NOT_READ for data in found.values())
    assert requests == ["22F187", "22F187"]


def test_a_module_that_is_silent_to_groups_is_not_called_silent() -> None:
    """No answer to several, an answer to one: read one by one, and remembered."""
    _, pace, _ = read(module(CONTENT), ModulePace())

    def script(request: bytes) -> list[tuple[float, bytes]]:
        return [] if len(request) > 3 else list(module(CONTENT)(request))

    found, pace, _ = read(script, pace)
    assert found == CONTENT
    assert pace.at_once == 1


@given(
    st.dictionaries(st.integers(0xF100, 0xF1FF), st.binary(min_size=1, max_size=30), min_size=1, max_size=8),
    st.data(),
)
def test_data_of_any_length_come_back_whole(content: dict[int, bytes], data: st.DataObject) -> None:
    """Whatever lengths were known before, right or wrong: what is returned is what the module has."""
    wrong = data.draw(st.dictionaries(st.sampled_from(sorted(content)), st.integers(1, 40)))
    found, _, _ = read(module(content), ModulePace(lengths=wrong), tuple(content))
    assert found == content
