"""How many samples of each stream the record holds: what the closing event says. Pure."""

from __future__ import annotations

from collections.abc import Iterable

from .body import Body, SamplesPart, SamplesTaken


def stream_name(run: str, name: str, signal: str) -> str:
    """A stream is one signal of one recording of one run."""
    return f"{run}/{name}/{signal}"


class StreamCounts:
    """Samples so far, by stream: of recordings as a whole, and of the parts kept while they ran."""

    def __init__(self, bodies: Iterable[Body] = ()) -> None:
        self.streams: dict[str, int] = {}
        self.parts: dict[str, int] = {}
        for body in bodies:
            self.take(body)

    def take(self, body: Body) -> None:
        """Count one event; others than the two kinds of samples change nothing."""
        if not isinstance(body, SamplesTaken | SamplesPart):
            return
        counts = self.streams if isinstance(body, SamplesTaken) else self.parts
        for series in body.series:
            name = stream_name(body.run, body.name, series.signal)
            counts[name] = counts.get(name, 0) + len(series)
