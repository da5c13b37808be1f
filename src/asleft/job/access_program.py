"""Access keys from the one program that the workshop's settings name; never from a procedure or a book.

The program gets ``MODULE LEVEL`` as its two arguments and the seed as hexadecimal on its standard input, and prints the
key as hexadecimal. Nothing of either is kept, logged or put into an error; what the program says on its standard error
is thrown away.
"""

from __future__ import annotations

import asyncio
import contextlib
import re
from pathlib import Path

from asleft.model.errors import Code, RunError
from asleft.model.module import ModuleAddress

#: How long the program may take, s.
LONGEST_S = 20.0
_KEY = re.compile(rb"\s*([0-9A-Fa-f]{2}){1,128}\s*")


class ProgramKey:
    """The AccessKey port by a program. Args: program: path of an executable file, from the settings."""

    def __init__(self, program: Path) -> None:
        self._program = program

    async def key(self, module: ModuleAddress, level: int, seed: bytes) -> bytes:
        """The key for a seed. Raises RunError (access-closed): the program gave none; neither seed nor key is told."""
        try:
            process = await asyncio.create_subprocess_exec(
                str(self._program),
                module.name,
                f"{level:02X}",
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.DEVNULL,
            )
        except OSError as error:
            raise RunError(Code.ACCESS_CLOSED, f"the program cannot be started: {error.strerror}") from None
        try:
            out, _ = await asyncio.wait_for(process.communicate(seed.hex().upper().encode() + b"\n"), LONGEST_S)
        except TimeoutError:
            raise RunError(Code.ACCESS_CLOSED, f"the program gave nothing in {LONGEST_S:g} s") from None
        finally:
            if process.returncode is None:
                with contextlib.suppress(ProcessLookupError):
                    process.kill()
        if process.returncode != 0 or not _KEY.fullmatch(out):
            raise RunError(Code.ACCESS_CLOSED, f"the program gave no key (exit code {process.returncode})")
        return bytes.fromhex(out.decode().strip())
