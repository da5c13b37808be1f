"""The AccessKey port: the workshop's own authorised way to a key. Nothing here computes, guesses or keeps one."""

from __future__ import annotations

from typing import Protocol

from asleft.model.module import ModuleAddress


class AccessKey(Protocol):
    """Turns a module's seed into its key, by whoever authorised the workshop."""

    async def key(self, module: ModuleAddress, level: int, seed: bytes) -> bytes:
        """The key for a seed of an odd ``level``.

        Raises: RunError (access-closed): there is none, or it was not given. Neither seed nor key stands in the error.
        """
        ...
