"""Commands as a shell sees them: output, exit codes, and that the docs say the same."""

from __future__ import annotations

import contextlib
import importlib.util
import io
import json
import os
import shutil
import subprocess
import sys
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest

from asleft.cli import EXITS, exit_code
from asleft.cli import run as run_command
from asleft.cli.app import make_app
from asleft.cli.verbs import VERBS, general_help
from asleft.model.errors import AsleftError, Code
from conftest import REPO

ASLEFT = [sys.executable, "-c", "from asleft.cli import main; main()"]


@dataclass
class Done:
    """What a command left."""

    stdout: str
    stderr: str


def run(*arguments: str | Path, code: int = 0) -> Done:
    """Run a command in this process and check its exit code."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        given = run_command([str(a) for a in arguments])
    assert given == code, out.getvalue() + err.getvalue()
    return Done(out.getvalue(), err.getvalue())


@pytest.fixture(scope="module")
def papers(demo_papers: Path) -> Path:
    """The unattended demo's papers."""
    return demo_papers


def test_the_unattended_demo_leaves_its_papers(papers: Path) -> None:
    assert (papers / "report.pdf").read_bytes().startswith(b"%PDF")
    names = set(zipfile.ZipFile(papers / "record.zip").namelist())
    assert {"events.jsonl", "head", "head.sig", "key.pem"} <= names
    assert (papers / "key.pem").read_text().startswith("-----BEGIN PUBLIC KEY-----")


def test_verify_holds_and_finds_a_changed_digit(papers: Path, tmp_path: Path) -> None:
    assert "every check held" in run("verify", papers / "record.zip").stdout
    folder = tmp_path / "record"
    zipfile.ZipFile(papers / "record.zip").extractall(folder)
    events = (folder / "events.jsonl").read_bytes()
    changed = events.replace(b'"value":1', b'"value":2', 1)
    assert changed != events
    (folder / "events.jsonl").write_bytes(changed)
    found = json.loads(run("verify", folder, "--json", code=1).stdout)
    assert any(f["flaw"] == "chain" for f in found["findings"])


def test_verify_against_the_customers_copy(papers: Path) -> None:
    """The head hash on the customer's copy catches a record that was written anew."""
    head = zipfile.ZipFile(papers / "record.zip").read("head").decode().strip()
    run("verify", papers / "record.zip", "--head", head)
    other = ("0" if head[0] != "0" else "1") + head[1:]
    run("verify", papers / "record.zip", "--head", other, code=1)


def test_openssl_and_sha256sum_agree(papers: Path, tmp_path: Path) -> None:
    """The record checks without this program. Source: docs/record-format.md."""
    if shutil.which("openssl") is None:
        pytest.skip("no openssl on this machine")
    zipfile.ZipFile(papers / "record.zip").extractall(tmp_path)
    verify = [
        "openssl",
        "pkeyutl",
        "-verify",
        "-pubin",
        "-inkey",
        "key.pem",
        "-rawin",
        "-in",
        "head",
        "-sigfile",
        "head.sig",
    ]
    good = subprocess.run(verify, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert good.returncode == 0, good.stderr
    last = (tmp_path / "events.jsonl").read_bytes().splitlines()[-1]
    (tmp_path / "last").write_bytes(last)
    hashed = subprocess.run(["sha256sum", "last"], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert hashed.stdout.split()[0] == (tmp_path / "head").read_text().strip()


@pytest.mark.full
def test_an_uncleaned_bore_is_exit_code_1(tmp_path: Path) -> None:
    assert "throttle-stop-learn: FAIL" in run("demo", "--unattended", "--uncleaned", "--out", tmp_path, code=1).stdout


def test_a_missing_recording_is_a_sentence_with_what_to_do(tmp_path: Path) -> None:
    told = run("replay", tmp_path / "nothing.csv", "--out", tmp_path, code=2).stderr
    assert "nothing.csv" in told
    assert "[recording-unreadable]" in told
    assert "Traceback" not in told


def test_a_file_that_is_no_record_is_told_plainly(tmp_path: Path) -> None:
    bad = tmp_path / "bad.zip"
    bad.write_bytes(b"nothing like a zip")
    done = subprocess.run([*ASLEFT, "verify", str(bad)], capture_output=True, text=True, timeout=100, check=False)
    assert done.returncode in (1, 2, 6)
    assert "Traceback" not in done.stderr


def test_help_does_not_load_the_heavy_rooms() -> None:
    """The command line prints help without book, numbers or typesetter."""
    code = (
        "import sys\nsys.argv=['asleft','--help']\nfrom asleft.cli import main\n"
        "try:\n main()\nexcept SystemExit:\n pass\n"
        "heavy=[m for m in ('numpy','scipy','typst','ruamel.yaml','asleft.book','can') if m in sys.modules]\n"
        "sys.stderr.write(','.join(heavy))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert done.stderr == ""


def test_the_docs_hold_every_commands_help_text() -> None:
    spec = importlib.util.spec_from_file_location("docs", REPO / "scripts" / "make_command_docs.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    page = module.PAGE.read_text(encoding="utf-8")
    assert module.page_with(module.help_texts(), page) == page, "run scripts/make_command_docs.py"


def test_every_exit_code_stands_in_the_docs() -> None:
    page = (REPO / "docs" / "commands.md").read_text(encoding="utf-8")
    for code in (*EXITS.values(), 0, 1, 70, 130):
        assert f"| {code} |" in page


def test_every_kind_of_error_has_its_exit_code() -> None:
    kinds = {kind.__name__: kind for kind in AsleftError.__subclasses__()}
    assert set(EXITS) <= set(kinds)
    for name, code in EXITS.items():
        assert exit_code(kinds[name](Code.INTERNAL, "x")) == code
    assert exit_code(AsleftError(Code.INTERNAL, "x")) == 70


def test_general_help_says_what_each_command_says_of_itself() -> None:
    """The table that is shown without loading anything, against the loaded commands."""
    from typer.main import get_command

    commands = get_command(make_app(VERBS)).commands  # type: ignore[attr-defined]
    assert set(commands) == set(VERBS)
    assert list(VERBS) == sorted(VERBS)
    for verb, (_, _, words) in VERBS.items():
        assert " ".join((commands[verb].help or "").split()).startswith(words), verb
        assert words in " ".join(general_help().split())
    assert max(map(len, general_help(60).splitlines())) <= 60


@pytest.mark.parametrize("verb", VERBS)
def test_a_verb_alone_is_the_verb_among_all(verb: str) -> None:
    """Only the modules of the verb asked for are loaded, and it still goes by its name."""
    from typer.main import get_command

    assert set(get_command(make_app([verb])).commands) == {verb}  # type: ignore[attr-defined]


def test_an_unknown_verb_is_refused_with_the_nearest() -> None:
    assert "verify" in run("verifi", code=2).stderr


def test_version_and_help_are_said() -> None:
    assert run("--version").stdout.startswith("asleft ")
    assert run("--help").stdout == run(code=2).stdout
    assert "Usage: asleft plan" in run("plan", "--help").stdout


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_knows_verbs(shell: str) -> None:
    """As the shell asks for it. Its form is Typer's."""
    asked = {"_ASLEFT_COMPLETE": f"complete_{shell}", "COMP_WORDS": "asleft ver", "COMP_CWORD": "1",
             "_TYPER_COMPLETE_ARGS": "asleft ver", "_TYPER_COMPLETE_FISH_ACTION": "get-args"}  # fmt: skip
    code = [sys.executable, "-c", "import sys; sys.argv = ['asleft']; from asleft.cli import main; main()"]
    done = subprocess.run(code, env=os.environ | asked, capture_output=True, text=True, timeout=100, check=False)
    assert "verify" in done.stdout, done.stderr


def test_look_reads_all_modules_of_a_bench_car() -> None:
    told = json.loads(run("look", "--link", "bench:petrol?seed=2", "--json").stdout)
    assert told["origin"] == "bench"
    assert {m["address"]["name"] for m in told["picture"]["modules"]} == {
        "engine",
        "brakes",
        "body",
        "cluster",
        "gateway",
    }
    assert "VIN by identifier: EZA" in run("look", "--link", "bench:petrol?seed=2").stdout


@pytest.mark.parametrize("address", ["bench:tractor", "bench:petrol?seed=x", "can:socketcan", "telepathy:7"])
def test_an_impossible_link_is_told(address: str) -> None:
    told = run("look", "--link", address, code=2).stderr
    assert "Traceback" not in told


def test_plan_says_needs_with_reasons_and_a_track() -> None:
    work = ("throttle body removed, cleaned and refitted", "--make", "Aldra", "--model", "1.6", "--year", "2019")
    text = run("plan", *work).stdout
    assert "required" in text
    assert "min work" in text
    told = json.loads(run("plan", *work, "--form", "json").stdout)
    assert {n["function"]: n["procedure"] for n in told["needs"]}["throttle-stop-learn"] == "throttle-stop-learn-aldra"
    assert run("plan", *work, "--form", "svg").stdout.startswith("<svg")
    assert "nearest" in run("plan", "throtle bdy polished", code=2).stderr


def test_the_own_book_is_clean_and_a_broken_file_is_named_by_line(tmp_path: Path) -> None:
    assert "0 error(s)" in run("procedure", "lint").stdout
    broken = tmp_path / "broken.yaml"
    broken.write_text("id: x\nfunction: throttle-stop-learn\nname: x\nrevision: one\n")
    told = run("procedure", "lint", broken, code=1).stdout
    assert "broken.yaml:4" in told


def test_the_dry_run_shows_the_bytes() -> None:
    file = REPO / "src" / "asleft" / "book" / "data" / "throttle-stop-learn-aldra.yaml"
    assert "31 01 5A 31" in run("procedure", "dry-run", file, "--identifier", "0x5A31").stdout
    assert "two bytes are four" in run("procedure", "dry-run", file, "--identifier", "5A3", code=2).stderr


def test_prove_on_a_bench_car_gives_number_lines_and_sentences() -> None:
    idle = REPO / "src" / "asleft" / "book" / "data" / "idle-proof.yaml"
    told = run("prove", idle, "--link", "bench:petrol?seed=3", "--seconds", "90").stdout
    assert "Spread of idle speed" in told
    assert "◆" in told


@pytest.mark.full
def test_prove_gives_its_verdicts_as_json() -> None:
    idle = REPO / "src" / "asleft" / "book" / "data" / "idle-proof.yaml"
    judged = json.loads(run("prove", idle, "--link", "bench:petrol?seed=3", "--json").stdout)
    assert judged["origin"] == "bench"
    assert {j["criterion"] for j in judged["judgements"]} == {"idle-spread", "trim-sum"}


@pytest.mark.parametrize("arguments", [(), ("--link", "bench:petrol", "--recording", "x.csv"), ("--link", "can:x:y")])
def test_prove_wants_a_recording_or_a_link(arguments: tuple[str, ...]) -> None:
    idle = REPO / "src" / "asleft" / "book" / "data" / "idle-proof.yaml"
    run("prove", idle, *arguments, code=2)


def test_plan_compares_moves_and_answers_fittings(tmp_path: Path) -> None:
    shop = tmp_path / "shop.yaml"
    shop.write_text("functions:\n  - {name: idle-relearn, state: warm-idle, active: 20, elapsed: 20}\n")
    work = ("windscreen replaced", "throttle body removed, cleaned and refitted", "--fitted", "forward-camera")
    told = run("plan", *work, "--workshop", str(shop), "--what-if", "idle-relearn=1", "--promised", "60").stdout
    assert "required: forward camera static aim" in told
    assert "idle-relearn at place 1" in told
    assert "idle opening is counted from the stop" in told
    assert "longer than the 60 min there are" in told
    assert "the order by phases" in told
    shop.write_text("functions:\n  - {name: idle-relern, state: warm-idle, active: 20, elapsed: 20}\n")
    bad = run("plan", *work, "--workshop", str(shop), code=2).stderr
    assert "shop.yaml:2" in bad
    assert "idle-relearn" in bad
    assert "there are" in run("plan", *work, "--fitted", "wings", code=2).stderr
