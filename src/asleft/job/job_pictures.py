"""The pictures of a job: taken, held against the order and each other; the trouble codes as left."""

from __future__ import annotations

from asleft.event import body as b
from asleft.model.message import say
from asleft.model.module import PictureKind, differences
from asleft.model.verdict import StepOutcome
from asleft.proof.codes import CodesSeen
from asleft.talk.pictures import take_picture

from . import planning
from .hand import JobHand

#: From key on until every module may be expected to answer, s. Common practice, no source.
WAKE_S = 3.0


async def take(hand: JobHand, kind: PictureKind) -> None:
    """Take a picture once the modules have woken up after key on."""
    hand.desk.show("stage", {"picture": kind.value})
    await hand.desk.clock.sleep_until(hand.desk.clock.now() + WAKE_S)
    picture = await take_picture(kind, hand.desk.modules, hand.conversation, hand.desk.clock, hand.signals)
    hand.journal.append(b.PictureTaken(picture))


def check_vin(hand: JobHand, kind: PictureKind) -> None:
    """VIN as read against the VIN as typed: a difference is said at once, never swallowed."""
    vehicle, picture = hand.state.vehicle, hand.state.pictures[kind]
    read = next((i.value for m in picture.modules for i in m.identification if i.key == "vin" and not i.absence), "")
    if vehicle is not None and read and read != vehicle.vin.text:
        text = "the car says VIN {read}, the order says {typed}: check that this is the right car"
        hand.journal.append(b.Noted(say("vin.differs", text, read=read, typed=vehicle.vin.text)))


def compare(hand: JobHand, before: PictureKind, after: PictureKind) -> None:
    """Write down what differs between two pictures, with what was meant."""
    pictures = hand.state.pictures
    if before in pictures and after in pictures and not pictures[before].not_taken:
        found = planning.explained(hand.state, hand.desk.book, differences(pictures[before], pictures[after]))
        hand.journal.append(b.DifferencesFound(before, after, found))


def codes_seen(hand: JobHand) -> CodesSeen:
    """Codes as left, and how many key cycles the closing run saw after the clear."""
    state = hand.state
    left, found = state.pictures[PictureKind.AS_LEFT], state.pictures.get(PictureKind.AS_FOUND)
    read = [m for m in left.modules if m.responded and m.codes_absence is None]
    closing = hand.runs_of(planning.CLOSING_PROCEDURE)
    steps = closing[-1].steps if closing else ()
    cycles = sum(s.id.startswith("cycles-after-clear-") and s.outcome is StepOutcome.DONE for s in steps)
    return CodesSeen(
        after=tuple(c for m in read for c in m.codes),
        read=tuple(m.address.name for m in read),
        before=found.codes if found else None,
        cycles=cycles,
    )
