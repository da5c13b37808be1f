"""The workshop's settings: read, changed, refused with where and why; and a workshop without a link."""

from __future__ import annotations

import asyncio
import tomllib
from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.job.absent import NoLink
from asleft.job.channel import LiveFeed
from asleft.job.clock import real_clock
from asleft.job.desk import Desk
from asleft.job.serving import workshop_desk
from asleft.job.workshop import FILE, MEANINGS, Workshop, read_settings, read_workshop, write_workshop
from asleft.model.errors import Code, InputError, LinkError
from asleft.model.frame import CanFrame


def test_what_is_not_written_has_its_default_and_writing_to_cars_is_closed(tmp_path: Path) -> None:
    assert read_workshop(tmp_path) == Workshop()
    assert not Workshop().writes_to_vehicles
    (tmp_path / FILE).write_text('workshop = "Gable Street Motors (fictional)"\n')
    assert read_workshop(tmp_path) == Workshop(workshop="Gable Street Motors (fictional)")


def test_every_setting_has_its_meaning() -> None:
    assert set(MEANINGS) == {field.name for field in msgspec.structs.fields(Workshop)}


SIGNS = st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs"))
LINES = st.text(SIGNS, max_size=40).filter(str.isprintable)


@given(LINES, LINES, st.lists(LINES, max_size=3), st.booleans())
def test_what_is_written_is_read_back_by_any_reader(name: str, who: str, head: list[str], writes: bool) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        changes = {"workshop": name, "technician": who, "letterhead": head, "writes_to_vehicles": writes}
        written = write_workshop(folder, **changes)
        assert read_workshop(folder) == written
        assert tomllib.loads((folder / FILE).read_text(encoding="utf-8"))["workshop"] == name


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("workshop =", "Invalid value"),
        ("nothing = 1", "no setting 'nothing'"),
        ("writes_to_vehicles = 1", "Expected `bool`"),
        ('writes_to_vehicles = "yes"', "Expected `bool`"),
        ('language = "xx"', "write one of en, de"),
        ('paper = "a5"', "write one of a4, letter"),
        ('mark = "../key.pem"', "in the data folder"),
        ('workshop = "a\\u0007"', "one line"),
        (f'workshop = "{"x" * 301}"', "at most 300"),
        ("\xff", ""),
    ],
)
def test_what_cannot_be_used_is_refused_and_left_as_it_is(tmp_path: Path, content: str, said: str) -> None:
    (tmp_path / FILE).write_bytes(content.encode("latin-1"))
    with pytest.raises(InputError, match=FILE) as error:
        read_workshop(tmp_path)
    assert error.value.code is Code.SETTING_BAD
    assert said in error.value.detail
    with pytest.raises(InputError):
        write_workshop(tmp_path, workshop="x")
    assert (tmp_path / FILE).read_bytes() == content.encode("latin-1")


def test_settings_as_typed() -> None:
    said = read_settings(["workshop=A = B", "writes_to_vehicles=True", "letterhead=one| two |"])
    assert said == {"workshop": "A = B", "writes_to_vehicles": True, "letterhead": ("one", "two")}
    with pytest.raises(InputError, match="NAME=VALUE"):
        read_settings(["workshop"])


def test_the_mark_goes_onto_the_paper(tmp_path: Path) -> None:
    (tmp_path / "mark.svg").write_bytes(b"<svg/>")
    assert write_workshop(tmp_path, mark="mark.svg").profile(tmp_path).mark == b"<svg/>"
    with pytest.raises(InputError, match="mark"):
        write_workshop(tmp_path, mark="none.svg").profile(tmp_path)


async def desk_of(workshop: Workshop) -> Desk:
    return workshop_desk(workshop, real_clock(), LiveFeed())


def test_without_a_link_it_says_what_to_do() -> None:
    link = asyncio.run(desk_of(Workshop())).link
    assert isinstance(link, NoLink)
    with pytest.raises(LinkError, match="asleft links"):
        asyncio.run(link.open())
    with pytest.raises(LinkError):
        link.send(CanFrame(0x7E0, b"\x00" * 8))
    asyncio.run(link.close())


def test_an_address_that_cannot_be_is_said_before_anything_starts() -> None:
    with pytest.raises(InputError) as error:
        asyncio.run(desk_of(Workshop(link="can:none")))
    assert error.value.code is Code.LINK_ADDRESS_BAD
