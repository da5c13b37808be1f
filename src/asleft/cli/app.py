"""All verbs together."""

from __future__ import annotations

import typer

from . import (
    bench,
    car,
    coding,
    demo,
    doctor,
    history,
    key,
    links,
    listen,
    look,
    plan,
    practice,
    procedure,
    prove,
    record,
    replay,
    serve,
    verify,
)

app = typer.Typer(
    name="asleft",
    help="From the work done on a car to a proven, signed return to service of its control modules.",
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
)
app.command("bench")(bench.bench)
app.add_typer(car.car, name="car")
app.add_typer(coding.codings, name="coding")
app.command("demo")(demo.demo)
app.command("doctor")(doctor.doctor)
app.add_typer(history.histories, name="history")
app.add_typer(key.keys, name="key")
app.command("links")(links.links)
app.command("listen")(listen.listen)
app.command("look")(look.look)
app.command("plan")(plan.plan)
app.add_typer(practice.practice, name="practice")
app.add_typer(procedure.procedures, name="procedure")
app.command("prove")(prove.prove)
app.add_typer(record.records, name="record")
app.command("replay")(replay.replay)
app.add_typer(serve.people, name="people")
app.command("serve")(serve.serve)
app.command("settings")(serve.settings)
app.command("support")(doctor.support)
app.command("verify")(verify.verify)
