"""``asleft procedure``: lint and dry run of procedure files, and the verbs of the modules beside."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from . import procedure_find, procedure_import, procedure_share, procedure_trust

procedures = typer.Typer(no_args_is_help=True, help="Procedure files: lint, dry run, find, check, import, share.")
procedures.command("find")(procedure_find.find)
procedures.command("from-odx")(procedure_import.from_odx)
procedures.command("from-dbc")(procedure_import.from_dbc)
procedures.command("set")(procedure_share.set_value)
procedures.command("export")(procedure_share.export)
procedures.command("import")(procedure_share.take)
procedures.command("check")(procedure_trust.check)
procedures.command("trust")(procedure_trust.trust)
procedures.command("withdraw")(procedure_trust.withdraw)
procedures.command("restore")(procedure_trust.restore)
procedures.command("numbers")(procedure_trust.numbers)


@procedures.command("lint")
def lint(
    files: Annotated[list[Path] | None, typer.Argument(help="files or folders; else the program's own book")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="remarks as JSON")] = False,
    gaps: Annotated[bool, typer.Option("--gaps", help="show also what is not given")] = False,
) -> None:
    """Check procedure files. Exit code 1 when one cannot be used; warnings and gaps do not bar a file."""
    import msgspec  # noqa: PLC0415

    from asleft.job.books import has_errors, lint_files  # noqa: PLC0415

    remarks = lint_files(files or [])
    if as_json:
        typer.echo(msgspec.json.format(msgspec.json.encode(remarks), indent=2).decode())
    else:
        shown = [r for r in remarks if gaps or r.level.value != "gap"]
        for remark in shown:
            typer.echo(f"{remark.level.value}: {remark.text}")
        counts = {level: sum(r.level.value == level for r in remarks) for level in ("error", "warning", "gap")}
        typer.echo(", ".join(f"{count} {level}(s)" for level, count in counts.items()))
    raise typer.Exit(1 if has_errors(remarks) else 0)


@procedures.command("dry-run")
def dry_run(
    file: Annotated[Path, typer.Argument(help="procedure file")],
    way: Annotated[str, typer.Option(help="by-wire, beside or by-hand")] = "by-wire",
    identifier: Annotated[str, typer.Option(help="routine identifier as the source prints it")] = "",
    coding: Annotated[str, typer.Option(help="coding as composed, hex")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="lines as JSON")] = False,
) -> None:
    """Every step and every byte that would be sent, with its effect, without a car."""
    import msgspec  # noqa: PLC0415

    from asleft.job.books import dry_run_of  # noqa: PLC0415

    lines = dry_run_of(file, way, identifier, coding)
    if as_json:
        typer.echo(msgspec.json.format(msgspec.json.encode(lines), indent=2).decode())
        return
    for line in lines:
        typer.echo(line.text)
