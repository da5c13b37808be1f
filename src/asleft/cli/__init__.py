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

# What is imported here is imported before general help, which must take no longer than a few bare interpreters.
from __future__ import annotations

import os
import sys

from .verbs import VERBS, general_help

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence

    from asleft.model.errors import AsleftError

#: Kind of an error, by whose fault it is -> exit code.
EXITS = {"InputError": 2, "LinkError": 3, "ModuleError": 4, "RunError": 5, "RecordError": 6}
_COMPLETES = "_ASLEFT_COMPLETE"


def exit_code(error: AsleftError) -> int:
    """Exit code of an error, by whose fault it is."""
    return next((EXITS[kind.__name__] for kind in type(error).__mro__ if kind.__name__ in EXITS), 70)


def run(arguments: Sequence[str]) -> int:
    """Carry out a command line and return its exit code; errors are one sentence on standard error."""
    if _COMPLETES not in os.environ and list(arguments) in ([], ["--help"], ["-h"], ["help"]):
        sys.stdout.write(general_help(_width()))
        return 0 if arguments else 2
    if list(arguments) == ["--version"]:
        from asleft import __version__  # noqa: PLC0415 - as all imports here

        sys.stdout.write(f"asleft {__version__}\n")
        return 0
    return _carry_out(arguments)


def _carry_out(arguments: Sequence[str]) -> int:
    from asleft.model.errors import AsleftError  # noqa: PLC0415

    from .app import make_app  # noqa: PLC0415

    known = arguments and arguments[0] in VERBS and _COMPLETES not in os.environ
    try:
        make_app([arguments[0]] if known else VERBS)(list(arguments), prog_name="asleft")
    except SystemExit as ended:
        return ended.code if isinstance(ended.code, int) else 0 if ended.code is None else 2
    except AsleftError as error:
        sys.stderr.write(f"asleft: {error.sentence()}\n")
        return exit_code(error)
    except KeyboardInterrupt:
        sys.stderr.write("asleft: interrupted; the record is complete up to here\n")
        return 130
    return 0


def _width() -> int:
    """Columns of the terminal, at most 100; 80 where there is none."""
    try:
        return min(
            100, int(os.environ.get("COLUMNS", "")) if "COLUMNS" in os.environ else os.get_terminal_size().columns
        )
    except (OSError, ValueError):
        return 80


def main() -> None:
    """Run the command line of this process."""
    sys.exit(run(sys.argv[1:]))
