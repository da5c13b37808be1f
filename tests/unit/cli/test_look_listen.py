"""``asleft look`` over every way to a bench car and to recordings, and ``asleft listen``, as a newcomer types them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from asleft.cli.app import app


def run(*words: str) -> Result:
    return CliRunner().invoke(app, list(words))


@pytest.mark.parametrize(
    ("address", "origin", "modules"),
    [
        ("bench:petrol?seed=2&over=can", "bench", {"engine", "brakes", "body", "cluster", "gateway"}),
        ("bench:cable?seed=2", "bench", {"engine", "brakes"}),
        ("bench:petrol?seed=2&over=doip", "vehicle", {"engine", "brakes", "body", "cluster", "gateway"}),
    ],
)
def test_look_prints_the_picture_alike_over_can_kline_and_doip(address: str, origin: str, modules: set[str]) -> None:
    """All modules, the engine's VIN and live values; what comes over a network counts as a vehicle."""
    told = run("look", "--link", address, "--json")
    assert told.exit_code == 0, told.output
    found = json.loads(told.stdout)
    assert found["origin"] == origin
    assert {m["address"]["name"] for m in found["picture"]["modules"] if m["responded"]} == modules
    engine = next(m for m in found["picture"]["modules"] if m["address"]["name"] == "engine")
    assert next(i for i in engine["identification"] if i["key"] == "vin")["value"].startswith("EZA")
    assert {r["signal"]: r["value"] for r in found["picture"]["readings"]}["engine-speed"] == 0.0


def test_listen_tells_exchanges_and_saves_a_log_that_can_be_looked_at(tmp_path: Path) -> None:
    told = run("listen", "--link", "bench:petrol?seed=2", "--save", str(tmp_path)).stdout
    assert "identifier F187 (part number): ENG-1620-1" in told
    assert "changes of the car: none heard" in told
    assert "nothing was sent" in told
    (log,) = tmp_path.glob("*.blf")
    again = run("look", "--link", f"log:{log}").stdout
    assert "origin replay, 5 module(s)" in again
    assert "part number: ENG-1620-1" in again


def test_look_at_a_recording_says_what_it_cannot_have(checks: Path) -> None:
    told = run("look", "--link", f"recording:{checks / 'obdlogs' / 'petrol' / 'idle1.csv'}").stdout
    assert "origin replay" in told
    assert "coolant-temperature: 28 °C" in told
    assert "modules and codes: not read: a recording of values has none" in told


@pytest.mark.parametrize("address", ["bench:petrol?over=kline", "bench:cable?over=can", "bench:petrol?over=air"])
def test_a_way_that_a_car_does_not_have_is_an_error(address: str) -> None:
    assert run("look", "--link", address).exit_code != 0


def test_look_saves_what_went_over_the_link(tmp_path: Path) -> None:
    run("look", "--link", "bench:cable", "--save", str(tmp_path))
    (messages,) = tmp_path.glob("*.messages.txt")
    assert "> 0011 1A 90" in messages.read_text()


def test_further_modules_are_found_once_somebody_agreed() -> None:
    """The estate tells 47 of its 48 modules by their addresses alone; one keeps silent."""
    alone = json.loads(run("look", "--link", "bench:estate?seed=1", "--json").stdout)["picture"]["modules"]
    told = run("look", "--link", "bench:estate?seed=1", "--further", "M. Okafor", "--json")
    assert told.exit_code == 0, told.output
    found = json.loads(told.stdout)["picture"]["modules"]
    assert len(alone) < 10
    assert sum(m["responded"] for m in found) == 47
    assert {(m["address"]["request_id"], m["address"]["response_id"]) for m in alone} <= {
        (m["address"]["request_id"], m["address"]["response_id"]) for m in found
    }


@pytest.mark.parametrize("address", ["bench:cable?seed=1", "log:some.log", "recording:some.csv"])
def test_a_search_needs_a_car_on_can(address: str) -> None:
    told = run("look", "--link", address, "--further", "M. Okafor")
    assert told.exit_code != 0
