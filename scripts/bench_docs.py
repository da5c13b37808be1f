"""Write the tables of docs/bench.md from the bench cars themselves: modules, acts, faults.

Run: .venv/bin/python scripts/bench_docs.py [--check]
"""

from __future__ import annotations

import inspect
import sys
from pathlib import Path
from typing import Any

from asleft.bench.garage import CARS, make_car
from asleft.bench.module import ControlModule

PAGE = Path(__file__).resolve().parents[1] / "docs" / "bench.md"
BEGIN, END = "<!-- made by scripts/bench_docs.py: begin -->", "<!-- end -->"


def module_rows(car: Any) -> list[str]:
    """Table of the modules."""
    rows = [
        "| module | link | requests, answers | after | silent after key on | after-run |",
        "|---|---|---|---|---|---|",
    ]
    for module in car.modules:
        timing = module.timing
        if isinstance(module, ControlModule):
            where = module.address
            width = 8 if where.extended else 3
            link, pair = place_of(car, module.name), f"{where.request:0{width}X}, {where.response:0{width}X}"
        else:
            link, pair = "K-line", f"address {module.target:02X}"
        after = f"{timing.latency_s * 1000:.0f} to {(timing.latency_s + timing.jitter_s) * 1000:.0f} ms"
        rows.append(f"| {module.name} | {link} | {pair} | {after} | {timing.boot_s:g} s | {timing.after_run_s:g} s |")
    return rows


def place_of(car: Any, module: str) -> str:
    """The bus a module is on: the plug's, or one behind the gateway with its bit rate."""
    wiring = car.wiring
    for name, inner in wiring.buses.items() if wiring else ():
        if module in inner.modules:
            return f"CAN, {name}, {inner.bitrate // 1000} kbit/s"
    return "CAN, plug" if wiring else "CAN"


def gateway_line(car: Any) -> list[str]:
    """What the gateway does, if there is one."""
    if car.wiring is None:
        return []
    rules = car.wiring
    what = f"holds {rules.limit} requests in flight and lets the rest {rules.overload.value}"
    return ["", f"Its gateway {what}; a request without answer frees its place after {rules.timeout_s:g} s."]


def act_rows(car: Any) -> list[str]:
    """Table of the acts."""
    rows = ["| act | what |", "|---|---|"]
    for name in car.acts():
        method = getattr(car, f"act_{name}")
        arguments = ", ".join(str(item) for item in inspect.signature(method).parameters.values())
        what = (inspect.getdoc(method) or "").partition("\n")[0]
        cells = f"`{name}({arguments})` | {what}".replace("'", "").replace(" | None", " or None")
        rows.append(f"| {cells} |")
    return rows


def fault_rows(car: Any) -> list[str]:
    """Table of the faults, if the car can have any."""
    if not hasattr(car, "faults"):
        return []
    rows = ["", "| fault | family | size, usual | shows in |", "|---|---|---|---|"]
    for name, fault in car.faults.listing().items():
        one = fault["low"] == fault["high"]
        size = "on" if one else f"{fault['low']:g} to {fault['high']:g} {fault['unit']}, {fault['typical']:g}"
        rows.append(f"| {name} | {fault['family']} | {size} | {fault['shows']} |")
    return rows


def tables() -> str:
    """All cars."""
    lines: list[str] = []
    for name in CARS:
        car = make_car(name)
        lines += [
            f"### Car `{name}`",
            "",
            *module_rows(car),
            *gateway_line(car),
            "",
            *act_rows(car),
            *fault_rows(car),
            "",
        ]
    return "\n".join(lines)


def page(old: str) -> str:
    """The page with new tables."""
    head, _, rest = old.partition(BEGIN)
    return f"{head}{BEGIN}\n\n{tables()}\n{END}{rest.partition(END)[2]}"


def main() -> int:
    """Write, or compare."""
    old = PAGE.read_text(encoding="utf-8")
    new = page(old)
    if "--check" in sys.argv:
        return 0 if new == old else 1
    PAGE.write_text(new, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
