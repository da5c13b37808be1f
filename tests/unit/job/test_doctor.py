"""What stands in the way of work, and the bundle that says nothing of cars or people."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest

from asleft.event.envelope import type_of
from asleft.job.doctor import State, examine
from asleft.job.people import Role, put_person
from asleft.job.support import bundle
from asleft.job.workshop import FILE, write_workshop
from asleft.record.keys import PRIVATE_FILE, SigningKey
from asleft.record.tail import stored_events
from kit.events import demo_job
from kit.gallery import bodies, store


def states(folder: Path) -> dict[str, State]:
    return {f.what: f.state for f in examine(folder, interfaces=False)}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    SigningKey.load_or_make(tmp_path)
    store(tmp_path, "J-1", bodies(demo_job()))
    write_workshop(tmp_path, workshop="Gable Street Motors", technician="M. Okafor", link="can:udp_multicast:239.0.0.1")
    put_person(tmp_path, "A. Novak", Role.LEAD, "long enough")
    return tmp_path


def test_a_workshop_in_order_has_nothing_bad_and_nothing_is_changed(folder: Path) -> None:
    before = {p.name: p.stat().st_mtime_ns for p in folder.iterdir() if not p.name.startswith("journal")}
    found = states(folder)
    assert State.BAD not in found.values()
    assert found["settings"] is found["records"] is found["signing key"] is State.GOOD
    assert {p.name: p.stat().st_mtime_ns for p in folder.iterdir() if p.name in before} == before


def test_an_empty_place_is_no_fault_and_says_what_comes(tmp_path: Path) -> None:
    found = examine(tmp_path / "none")
    assert all(f.state is not State.BAD for f in found)
    assert all(f.advice for f in found if f.state is State.NOTE)
    assert not (tmp_path / "none").exists()


def test_what_is_wrong_is_bad_with_advice(folder: Path) -> None:
    (folder / PRIVATE_FILE).chmod(0o644)
    (folder / FILE).write_text("nothing = 1")
    (folder / "engine.json").write_text('{"port": 9, "token": "x", "pid": 1}')
    found = {f.what: f for f in examine(folder, interfaces=False)}
    assert found["signing key"].state is State.BAD
    assert "chmod 600" in found["signing key"].advice
    assert found["settings"].state is State.BAD
    assert "no setting 'nothing'" in found["settings"].said
    assert found["engine"].state is State.NOTE


def test_a_damaged_record_is_named(folder: Path) -> None:
    path = next(p for p in folder.iterdir() if p.suffix in (".db", ".sqlite", ".sqlite3"))
    stored = stored_events(folder, "J-1")[3].stored
    content = path.read_bytes()
    assert stored in content
    path.write_bytes(content.replace(stored, stored[:-2] + b"x}"))
    records = next(f for f in examine(folder, interfaces=False) if f.what == "records")
    assert records.state is State.BAD
    assert "J-1" in records.said


def test_the_bundle_counts_and_tells_nothing_of_anybody(folder: Path, tmp_path: Path) -> None:
    events = [link.event for link in stored_events(folder, "J-1")]
    names = bundle(folder, tmp_path / "out" / "s.zip")
    with zipfile.ZipFile(tmp_path / "out" / "s.zip") as archive:
        content = {name: archive.read(name).decode() for name in names}
    everything = "\n".join(content.values())
    vin = next(str(e.body.vehicle.vin.text) for e in events if type_of(e.body).startswith("job-opened"))  # type: ignore[union-attr]
    for secret in (vin, vin[-6:], "Gable", "Okafor", "Novak", "239.0.0.1", str(folder), "PRIVATE KEY"):
        assert secret not in everything, secret
    assert sum(json.loads(content["jobs.json"])["jobs"][0]["events"].values()) == len(events)
    assert json.loads(content["settings.json"])["link"] == "can"
