"""What of a bench module is saved and comes back: memory, codes, freeze frame, wrong keys. Not the conversation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from .memory import Memory
from .obd import ObdService
from .security import SecurityService
from .trouble_memory import TroubleMemory


@dataclass(frozen=True)
class Content:
    """The parts of a module that hold state."""

    memory: Memory
    codes: TroubleMemory
    security: SecurityService
    obd: ObdService | None

    def save(self) -> dict[str, Any]:
        """JSON values."""
        frozen = {str(pid): data.hex() for pid, data in self.obd.freeze.items()} if self.obd is not None else {}
        return {
            "memory": self.memory.save(),
            "codes": self.codes.save(),
            "freeze": frozen,
            "wrong keys": {str(level): count for level, count in self.security.wrong.items()},
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take over what `save` gave."""
        self.memory.restore(state["memory"])
        self.codes.restore(state["codes"])
        if self.obd is not None:
            self.obd.freeze = {int(pid): bytes.fromhex(data) for pid, data in state["freeze"].items()}
        self.security.wrong.update({int(level): int(count) for level, count in state["wrong keys"].items()})
