"""``asleft bench``: a simulated car on its links, for other programs."""

from __future__ import annotations

from typing import Annotated

import typer


def bench(
    car: Annotated[str, typer.Argument(help="which car: petrol, ...")] = "petrol",
    seed: Annotated[int, typer.Option(help="which car of its kind")] = 1,
    speed: Annotated[float, typer.Option(help="1 is real time")] = 1.0,
) -> None:
    """Serve a bench car until Ctrl-C; says where it is to be reached."""
    import asyncio  # noqa: PLC0415

    from asleft.practice.hosting import host  # noqa: PLC0415

    asyncio.run(host(car, seed, speed, typer.echo))
