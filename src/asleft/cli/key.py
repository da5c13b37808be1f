"""``asleft key``: the workshop's signing key and its history."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

keys = typer.Typer(
    no_args_is_help=True,
    help="The workshop's signing key. A passphrase comes from the environment, ASLEFT_PASSPHRASE.",
)

Folder = Annotated[Path | None, typer.Option("--data", help="data folder; otherwise ASLEFT_DATA or the user's own")]
Reason = Annotated[str, typer.Option(help="why, in words; it stands in the history")]


def folder_of(said: Path | None) -> Path:
    """The data folder."""
    from asleft.job.settings import data_folder  # noqa: PLC0415

    return said or data_folder()


@keys.command("show")
def show(data: Folder = None, as_json: Annotated[bool, typer.Option("--json", help="keys as JSON")] = False) -> None:
    """All keys, oldest first, by fingerprint, and the file to publish."""
    from asleft.job.keyring import history_path, known_keys  # noqa: PLC0415

    folder = folder_of(data)
    known = known_keys(folder)
    if as_json:
        import msgspec  # noqa: PLC0415

        typer.echo(msgspec.json.format(msgspec.json.encode(known), indent=2).decode())
        return
    for key in known:
        since = f" {key.since}" if key.since else ""
        revoked = f", revoked from {key.revoked_from or 'the first'} on: {key.revoked}" if key.revoked else ""
        typer.echo(f"{key.fingerprint}  {key.taken}{since}{', in use' if key.in_use else ''}{revoked}")
    typer.echo(f"publish {history_path(folder)}: public keys, rotations and revocations, no secret")


@keys.command("rotate")
def rotate(
    reason: Reason,
    lost: Annotated[bool, typer.Option("--lost", help="the old key is lost: nobody vouches for the new one")] = False,
    data: Folder = None,
) -> None:
    """Take a new key into use; the old one vouches for it and is deleted. Stop the engine first."""
    from asleft.job.keyring import rotate as take_new  # noqa: PLC0415

    typer.echo(f"in use: {take_new(folder_of(data), reason=reason, lost=lost)}")


@keys.command("revoke")
def revoke(
    fingerprint: Annotated[str, typer.Argument(help="of an earlier key, or its first 8 digits or more")],
    reason: Reason,
    since: Annotated[str, typer.Option(help="from when on, RFC 3339; else none of its signatures is believed")] = "",
    data: Folder = None,
) -> None:
    """Say that an earlier key must not be believed. A key in use is rotated first; then publish the history."""
    from asleft.job.keyring import revoke as say  # noqa: PLC0415

    typer.echo(f"revoked: {say(folder_of(data), fingerprint, reason=reason, since=since)}")


@keys.command("passphrase")
def passphrase(
    remove: Annotated[bool, typer.Option("--remove", help="none from now on: its rights alone protect it")] = False,
    data: Folder = None,
) -> None:
    """Encrypt the key with a new passphrase; it is asked for twice and never shown."""
    from asleft.job.keyring import change_passphrase  # noqa: PLC0415

    new = "" if remove else typer.prompt("new passphrase", hide_input=True, confirmation_prompt=True)
    change_passphrase(folder_of(data), new.encode() or None)
    typer.echo("the key lies unencrypted" if remove else "give it to the engine as ASLEFT_PASSPHRASE")
