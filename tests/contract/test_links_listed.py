"""A link without its contract subclass is not listed: walked from what ``asleft links`` prints."""

from __future__ import annotations

import re

import pytest
from typer.testing import CliRunner

import contract.test_link as frames
import contract.test_link_messages as messages
from asleft.cli.app import app
from asleft.job.clock import LoopClock, run_virtual
from asleft.link.address import SCHEMES, make_any_link
from asleft.model.errors import InputError


def subclasses(kind: type) -> list[type]:
    return [kind, *(below for child in kind.__subclasses__() for below in subclasses(child))]


def listed() -> list[str]:
    """Kinds of link that the command prints, in its words."""
    told = CliRunner().invoke(app, ["links"])
    assert told.exit_code == 0
    needs = told.stdout.partition("what each kind of link needs:")[2]
    return re.findall(r"^  ([a-z]+:) ", needs, re.MULTILINE)


def proved() -> set[str]:
    """Kinds that a contract subclass with tests to run stands for."""
    contracts = (*subclasses(frames.HearingContract), *subclasses(messages.MessageLinkContract))
    return {c.kind for c in contracts if c.__name__.startswith("Test") and c.kind}


def test_every_kind_that_is_listed_has_its_contract() -> None:
    kinds = listed()
    assert len(kinds) >= 4
    assert [kind for kind in kinds if kind not in proved()] == []


def test_every_address_that_leads_to_a_link_is_listed_and_no_other() -> None:
    assert sorted(listed()) == sorted(f"{scheme}:" for scheme in SCHEMES)


@pytest.mark.parametrize("scheme", ["bench", "serial", "usb"])
def test_what_is_not_listed_is_no_link(scheme: str) -> None:
    async def main(clock: LoopClock) -> None:
        with pytest.raises(InputError, match="begin with one of"):
            make_any_link(f"{scheme}:x", clock)

    run_virtual(main)
