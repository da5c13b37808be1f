"""Verbs of the command line: module, name in it, what general help says. Imports nothing, so that help is fast."""

from __future__ import annotations

ABOUT = "From the work done on a car to a proven, signed return to service of its control modules."

#: Verb -> module of this room, name in it, first sentence of its own help (compared by a test).
VERBS: dict[str, tuple[str, str, str]] = {
    "bench": ("bench", "bench", "Serve a bench car until Ctrl-C; says where it is to be reached."),
    "car": ("car", "car", "Maps of cars: where modules listen, and what carries which signal."),
    "coding": ("coding", "codings", "Codings without a car: in words, compared, composed."),
    "demo": ("demo", "demo", "Run the main job on a bench car."),
    "doctor": ("doctor", "doctor", "Look at everything that work needs on this machine; nothing is changed."),
    "history": ("history", "histories", "Years of jobs."),
    "job": ("jobs", "jobs", "Jobs: open, answer, follow, stop, hand over, another order."),
    "key": ("key", "keys", "The workshop's signing key."),
    "links": ("links", "links", "List what could lead to a car."),
    "listen": (
        "listen",
        "listen",
        "Hear what another tester and the modules say: modules, exchanges in words, changes of the car.",
    ),
    "look": (
        "look",
        "look",
        "Read all modules once: identification, trouble codes, readiness, standard data; every gap with its reason.",
    ),
    "people": ("serve", "people", "Who may sign in from the workshop's network."),
    "plan": ("plan", "plan", "Needs with their reasons, and a timed track in the best order."),
    "practice": ("practice", "practice", "Exercises on bench cars: list, run, score, debrief, check."),
    "procedure": ("procedure", "procedures", "Procedure files: lint, dry run, find, check, import, share."),
    "prove": ("prove", "prove", "Verdicts with number lines and sentences."),
    "record": ("record", "records", "Records: copies, exports, corrections, erasing personal data."),
    "replay": ("replay", "replay", "Judge an idle from a recording."),
    "report": ("report", "reports", "The paper of a job, and facts that no module tells."),
    "serve": ("serve", "serve", "Start the engine on the workshop's link, and the page."),
    "settings": ("serve", "settings", "Show or change the workshop's settings; the engine reads them when it starts."),
    "support": (
        "doctor",
        "support",
        "Write a bundle to send with a question: how this machine stands; nothing of cars, people, keys or values.",
    ),
    "verify": (
        "verify",
        "verify",
        "Check a record; exit code 1 when something does not hold, or an asked-for time stamp does not.",
    ),
}

_LEFT = 13


def general_help(width: int = 80) -> str:
    """What ``asleft --help`` says, in lines of at most ``width`` characters."""
    lines = ["Usage: asleft COMMAND [ARGUMENTS] [OPTIONS]", "", *_wrapped(ABOUT, width), ""]
    for verb, (_, _, words) in VERBS.items():
        first, *more = _wrapped(words, max(20, width - _LEFT))
        lines.append(f"  {verb:<{_LEFT - 2}}{first}")
        lines += [" " * _LEFT + line for line in more]
    lines += [
        "",
        *_wrapped("asleft COMMAND --help says all of a command; exit codes stand in docs/commands.md.", width),
    ]
    lines += _wrapped("asleft --install-completion completes commands in your shell; asleft --version.", width)
    return "\n".join(lines) + "\n"


def _wrapped(text: str, width: int) -> list[str]:
    lines = [""]
    for word in text.split():
        if len(lines[-1]) + len(word) + 1 > width and lines[-1]:
            lines.append("")
        lines[-1] += f" {word}" if lines[-1] else word
    return lines
