"""``asleft serve``: the workshop at work, and its people and settings."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Folder = Annotated[Path | None, typer.Option("--data", help="data folder; otherwise ASLEFT_DATA or the user's own")]


def _folder(said: Path | None) -> Path:
    from asleft.job.settings import data_folder  # noqa: PLC0415

    return said or data_folder()


def serve(
    data: Folder = None,
    port: Annotated[int, typer.Option(help="port of the page")] = 8620,
    shared: Annotated[
        bool, typer.Option("--shared", help="for the workshop's network: TLS, and everybody signs in")
    ] = False,
) -> None:
    """Start the engine on the workshop's link, and the page. Without --shared only this machine can open it."""
    import asyncio  # noqa: PLC0415
    import sys  # noqa: PLC0415

    from asleft.job.people import read_people  # noqa: PLC0415
    from asleft.job.serving import serve as work  # noqa: PLC0415
    from asleft.job.settings import use_folder  # noqa: PLC0415
    from asleft.model.errors import Code, InputError  # noqa: PLC0415

    folder = _folder(data)
    use_folder(folder)
    if shared and not read_people(folder):
        raise InputError(Code.PERSON_UNUSABLE, "nobody may sign in yet: asleft people add NAME --role lead")

    def page(folder: Path) -> list[str]:
        more = ["--shared"] if shared else []
        return [sys.executable, "-m", "asleft.web", "--folder", str(folder), "--port", str(port), *more]

    asyncio.run(work(folder, page, typer.echo))


people = typer.Typer(help="Who may sign in from the workshop's network.", no_args_is_help=True)


@people.command("add")
def add(
    name: Annotated[str, typer.Argument(help="as it shall stand on the record")],
    role: Annotated[str, typer.Option(help="watcher, technician or lead")] = "technician",
    data: Folder = None,
) -> None:
    """Add a person, or give one a new role and password; the password is asked for twice and never shown."""
    from asleft.job.people import Role, put_person  # noqa: PLC0415

    wanted = Role.of(role)
    password = typer.prompt("password", hide_input=True, confirmation_prompt=True)
    person = put_person(_folder(data), name, wanted, password)
    typer.echo(f"{person.name}: {person.role.word}")


@people.command("list")
def list_people(as_json: Annotated[bool, typer.Option("--json", help="as JSON")] = False, data: Folder = None) -> None:
    """Who may sign in, and as what."""
    import json  # noqa: PLC0415

    from asleft.job.people import read_people  # noqa: PLC0415

    found = [{"name": p.name, "role": p.role.word} for p in read_people(_folder(data))]
    if as_json:
        typer.echo(json.dumps(found, ensure_ascii=False))
        return
    for line in [f"{p['name']}: {p['role']}" for p in found] or ["nobody yet"]:
        typer.echo(line)


@people.command("remove")
def remove(name: Annotated[str, typer.Argument()], data: Folder = None) -> None:
    """Let somebody go; what they did stays in the records."""
    from asleft.job.people import remove_person  # noqa: PLC0415

    remove_person(_folder(data), name)
    typer.echo(f"{name} may not sign in any more")


def settings(
    changes: Annotated[list[str] | None, typer.Argument(help="NAME=VALUE; without any, the settings are shown")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="as JSON")] = False,
    data: Folder = None,
) -> None:
    """Show or change the workshop's settings; the engine reads them when it starts."""
    import msgspec  # noqa: PLC0415

    from asleft.job.workshop import MEANINGS, read_settings, read_workshop, write_workshop  # noqa: PLC0415

    folder = _folder(data)
    workshop = write_workshop(folder, **read_settings(changes)) if changes else read_workshop(folder)
    shown = msgspec.to_builtins(workshop)
    if as_json:
        typer.echo(msgspec.json.encode(shown).decode())
        return
    for name, value in shown.items():
        typer.echo(f"{name} = {value!r}    {MEANINGS[name]}")
