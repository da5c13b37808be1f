"""Whether lines are one job's events in an unbroken chain that ends at the head: pure, and exact about the place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from asleft.event.body import Corrected, JobClosed, JobOpened, SamplesPart, SamplesTaken
from asleft.event.envelope import FORMATS, NO_PREVIOUS, Event, Header
from asleft.event.streams import stream_name

from .findings import Finding, Flaw, finding
from .lines import Line

#: Closing events that say nothing of samples. Source: docs/record-format.md, version 0.
_UNCOUNTED = "job-closed@1"


class SamplesSeen:
    """Samples by stream as the lines say, without their chunks."""

    def __init__(self) -> None:
        self.streams: dict[str, int] = {}
        self.parts: dict[str, int] = {}

    def take(self, line: Line) -> None:
        """Count a line; others than samples change nothing."""
        body = line.event.body if line.event else None
        if not isinstance(body, SamplesTaken | SamplesPart):
            return
        seen = self.streams if isinstance(body, SamplesTaken) else self.parts
        for series, count in zip(body.series, line.sizes, strict=False):
            name = stream_name(body.run, body.name, series.signal)
            seen[name] = seen.get(name, 0) + count


def about_the_events(lines: Sequence[Line]) -> list[Finding]:
    """Flaws that single lines show: form, sequence, job, origin, counts."""
    found: list[Finding] = []
    first = next((line.header for line in lines if line.header), None)
    counts: Counter[str] = Counter()
    samples = SamplesSeen()
    newest = 0
    expected, closed = 1, False
    if not lines:
        found.append(finding(Flaw.FORMAT, "empty", "there is no event", {"member": "events.jsonl"}))
    for line in lines:
        if line.problem:
            found.append(finding(Flaw.FORMAT, "line", "not an event as stored: {why}", line.place(), why=line.problem))
        says = expected if line.claim.sequence is None else line.claim.sequence
        if says != expected:
            found.append(_out_of_order(line, says, expected))
        expected = says + 1
        if line.event and isinstance(line.event.body, Corrected):
            found += _about_correction(line, line.event.body, lines)
        elif closed:
            text = "an event after the one that closes the job, and no correction"
            found.append(finding(Flaw.COUNTS, "after-close", text, line.place()))
        if line.header and first:
            found += _about_one(line.header, first, line.place())
            newest, older = max(newest, age := FORMATS.index(line.header.format)), age < newest
            if older:
                text = "format {format} after a newer one"
                found.append(finding(Flaw.FORMAT, "older", text, line.place(), format=line.header.format))
            if line.event and isinstance(line.event.body, JobClosed):
                found += _about_counts(line, line.event.body, counts, samples)
                closed = True
            counts[line.kind] += 1
            samples.take(line)
    return found


def about_the_chain(lines: Sequence[Line], head: str, held: str = "") -> list[Finding]:
    """Flaws of the links between lines, followed from the signed head down to the first event.

    A line whose hash is not the one named by the event after it is changed, unless that event is itself changed (then
    nobody vouches for the line, and the later finding stands for both) or is not its neighbour (then the sequence
    shows it).

    Args: head: hash named by ``head``; empty when that cannot be read. held: head hash from elsewhere; empty: none.
    """
    found: list[Finding] = []
    hashes = [line.hash for line in lines]
    if held and held not in hashes:
        text = "no event has the head hash held elsewhere: the record was rewritten, or cut below it"
        found.append(finding(Flaw.HELD_HEAD, "absent", text, {"member": "events.jsonl"}))
    if not lines:
        return found
    changed = bool(head) and hashes[-1] != head
    if changed:
        found.append(_end(lines, hashes, head))
    for line, after in zip(lines[-2::-1], lines[:0:-1], strict=True):
        neighbours = _follows(line, after)
        readable = after.event is not None or after.claim.previous != ""
        mismatch = readable and line.hash != after.claim.previous
        if mismatch and neighbours and not changed:
            text = "event {event} is not the one that event {after} names"
            numbers = {"event": line.place()["event"], "after": after.place()["event"]}
            found.append(finding(Flaw.CHAIN, "changed", text, line.place(), **numbers))
        changed = mismatch and neighbours and not changed
    if lines[0].claim.sequence == 1 and lines[0].claim.previous != NO_PREVIOUS:
        found.append(finding(Flaw.CHAIN, "begin", "the first event names one before it", lines[0].place()))
    return sorted(found, key=lambda f: f.line or 0)


def unbroken(lines: Sequence[Line], head: str) -> bool:
    """The whole rule in one sentence, apart from the search for places: what the recipe in the docs checks."""
    previous = NO_PREVIOUS
    for number, line in enumerate(lines, 1):
        if (line.claim.sequence, line.claim.previous) != (number, previous):
            return False
        previous = line.hash
    return bool(lines) and previous == head


def _follows(line: Line, after: Line) -> bool:
    """Whether two lines say that they are neighbours, as far as it can be read."""
    if line.claim.sequence is None or after.claim.sequence is None:
        return True
    return line.claim.sequence + 1 == after.claim.sequence


def _about_correction(line: Line, body: Corrected, lines: Sequence[Line]) -> list[Finding]:
    if 1 <= body.event < line.number and lines[body.event - 1].hash == body.hash:
        return []
    text = "it corrects event {event}, which is not the one it names"
    return [finding(Flaw.CORRECTION, "other", text, line.place(), event=body.event)]


def _end(lines: Sequence[Line], hashes: Sequence[str], head: str) -> Finding:
    last = lines[-1]
    if head in hashes:
        signed = lines[hashes.index(head)]
        place = {**last.place(), "start": signed.stop + 1}
        text = "{n} events were added after the signed head, event {event}"
        return finding(Flaw.HEAD, "added", text, place, n=len(lines) - signed.number, event=signed.number)
    text = "the last event is not the one that was signed: events were cut off behind it, or it was changed"
    return finding(Flaw.HEAD, "other", text, last.place())


def _out_of_order(line: Line, says: int, expected: int) -> Finding:
    if says > expected:
        text = "events {first} to {last} are missing before this line"
        return finding(Flaw.SEQUENCE, "missing", text, line.place(), first=expected, last=says - 1)
    text = "event {says} stands where event {expected} belongs"
    return finding(Flaw.SEQUENCE, "order", text, line.place(), says=says, expected=expected)


def _about_one(event: Header | Event, first: Header | Event, place: dict[str, object]) -> list[Finding]:
    found: list[Finding] = []
    if event.job != first.job:
        text = "an event of job {other} in the record of job {job}"
        found.append(finding(Flaw.JOB, "other", text, place, other=event.job, job=first.job))
    said = event.body.origin if isinstance(event.body, JobOpened) else first.origin
    if event.origin is not first.origin or event.origin is not said:
        text = "origin {other} in a record of origin {origin}"
        found.append(finding(Flaw.ORIGIN, "other", text, place, other=event.origin.value, origin=said.value))
    return found


def _about_counts(line: Line, body: JobClosed, counts: Counter[str], samples: SamplesSeen) -> list[Finding]:
    found: list[Finding] = []
    if body.counts != dict(counts):
        text = "the closing event counts {said} events, of the types it names, where {there} stand"
        said, there = sum(body.counts.values()), sum(counts.values())
        found.append(finding(Flaw.COUNTS, "differ", text, line.place(), said=said, there=there))
    if line.kind != _UNCOUNTED and (body.streams, body.parts) != (samples.streams, samples.parts):
        text = "the closing event counts {said} samples, of the streams it names, where {there} stand"
        said = sum((body.streams or {}).values()) + sum((body.parts or {}).values())
        there = sum(samples.streams.values()) + sum(samples.parts.values())
        found.append(finding(Flaw.COUNTS, "streams", text, line.place(), said=said, there=there))
    return found
