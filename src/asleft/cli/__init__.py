"""The command line: one verb a file.

Exit codes, the same for every verb:

=====  ==============================================================================================
code   meaning
=====  ==============================================================================================
0      done; for ``verify``: every check held
1      done, and the answer is no: the record does not check, a procedure failed its proof
2      the command, a file or a value given to it cannot be used (input)
3      the link: no bus, link lost
4      a control module was silent or refused
5      stopped: a gate, an interlock, a person
6      the record or its key cannot be used or written
70     a fault of the program
130    interrupted from the keyboard
=====  ==============================================================================================
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

from asleft.model.errors import AsleftError, InputError, LinkError, ModuleError, RecordError, RunError

_EXITS: tuple[tuple[type[AsleftError], int], ...] = (
    (InputError, 2),
    (LinkError, 3),
    (ModuleError, 4),
    (RunError, 5),
    (RecordError, 6),
)


def exit_code(error: AsleftError) -> int:
    """Exit code of an error, by whose fault it is."""
    return next((code for kind, code in _EXITS if isinstance(error, kind)), 70)


def run(arguments: Sequence[str]) -> int:
    """Carry out a command line and return its exit code; errors are one sentence on standard error."""
    from .app import app  # noqa: PLC0415 - help must start fast

    try:
        app(list(arguments))
    except SystemExit as ended:
        return ended.code if isinstance(ended.code, int) else 0 if ended.code is None else 2
    except AsleftError as error:
        sys.stderr.write(f"asleft: {error.sentence()}\n")
        return exit_code(error)
    except KeyboardInterrupt:
        sys.stderr.write("asleft: interrupted; the record is complete up to here\n")
        return 130
    return 0


def main() -> None:
    """Run the command line of this process."""
    sys.exit(run(sys.argv[1:]))
