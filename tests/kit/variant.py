"""A write by wire on the bench car: session, access, the engine's variant written once, restart, read again."""

from __future__ import annotations

from asleft.bench.security import bench_key
from asleft.book.loader import LoadedProcedure, read_procedure
from asleft.model.module import ModuleAddress

#: The engine variant with another last option; checksum by hand: 02 + 11 + 41 = 54, inverted AB.
NEW = "021141AB"
PROCEDURE = """
id: variant
function: module-coding
name: Engine variant
revision: 1
source: {title: Invented page, edition: "1", page: "1", kind: fictional, entered-by: A, checked-by: B}
cautions: [Key on, engine off.]
entry: [{id: rest, text: standing, kind: at-most, signal: vehicle-speed, high: 0, unit: km/h}]
interlocks: [{holds: rest, asks: stop}]
ways:
  by-wire:
    - {type: session, id: extended}
    - {type: read, id: before, name: variant, identifier: 3B10, printed: hex, save: before}
    - {type: access, id: open, level: 1}
    - {type: write, id: write, name: variant, identifier: 3B10, printed: hex, value: "021141AB", restore: write the old}
    - {type: restart-module, id: restart, settle-s: 3}
    - {type: read, id: after, name: variant, identifier: 3B10, printed: hex, save: after}
"""


class Keys:
    """The bench's toy key."""

    async def key(self, module: ModuleAddress, level: int, seed: bytes) -> bytes:
        return bench_key(seed)


def variant(text: str = PROCEDURE) -> LoadedProcedure:
    """The procedure, or another one like it."""
    return read_procedure(text.encode(), "p.yaml")
