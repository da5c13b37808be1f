"""One ISO-TP session: both halves, one address, no I/O and no clock.

Use::

    session = IsoTpSession(normal(0x7E0, 0x7E8))
    session.send(bytes.fromhex("22F190"), now_s)
    for frame in session.frames_to_send():
        link.send(frame)
    ...
    session.feed(frame, now_s)  # every frame heard
    session.poll(now_s)  # not later than session.deadline()
    for event in session.events():
        ...

After every call the frames are taken out and sent at once: times are counted from the call. The time of transmission
itself (N_As, N_Ar) belongs to the link. Bytes from a bus never raise: what breaks a transfer comes as
``TransferFailed``, what the standard tells to ignore is ignored.

Source: ISO 15765-2:2016.
"""

from __future__ import annotations

from asleft.model.errors import Code, LinkError
from asleft.model.frame import CanFrame

from .addressing import IsoTpAddress, Lane
from .config import IsoTpConfig
from .events import IsoTpEvent
from .frames import Flow, padded, parse
from .receiver import Receiver, ReceiverState
from .sender import Sender, SenderState

_DEFAULT = IsoTpConfig()


class IsoTpSession:
    """Frames and payloads in; frames and events out.

    Args:
        address: who talks to whom.
        config: how; the defaults suit classic CAN.
    """

    def __init__(self, address: IsoTpAddress, config: IsoTpConfig = _DEFAULT) -> None:
        self.address = address
        self.config = config
        self._frames: list[CanFrame] = []
        self._events: list[IsoTpEvent] = []
        self._sender = Sender(address, config, self._emit, self._events.append)
        self._receiver = Receiver(address, config, self._emit, self._events.append)

    @property
    def sending(self) -> bool:
        """A message is on its way out."""
        return self._sender.state is not SenderState.IDLE

    @property
    def receiving(self) -> bool:
        """A message is being put together."""
        return self._receiver.state is not ReceiverState.IDLE

    def send(self, payload: bytes, now_s: float, *, functional: bool = False) -> None:
        """Begin to send one message.

        Args:
            payload: 1 byte or more; to everybody only what fits in a single frame.
            now_s: monotonic time, s.
            functional: to everybody.
        Raises: LinkError: empty, too long, no functional address, or another message is under way.
        """
        lane = self.address.tx_functional if functional else self.address.tx
        if lane is None:
            raise LinkError(Code.FRAME_INVALID, "this address has no way to everybody", self.address.text())
        self._sender.send(payload, now_s, lane)

    def feed(self, frame: CanFrame, now_s: float) -> bool:
        """Take one frame heard on the bus; time that passed before it is accounted for first.

        Args:
            frame: any frame of the bus.
            now_s: when it was heard, s, same clock as everywhere; not when somebody found time to look.
        Returns: whether the frame was for this session.
        """
        self.poll(now_s)
        lane = self.address.lane_of(frame)
        if lane is None:
            return False
        pdu = parse(frame.data, lane.overhead)
        if isinstance(pdu, Flow):
            if lane is self.address.rx:
                self._sender.on_flow(pdu, now_s)
        elif pdu is not None:
            self._receiver.on_pdu(pdu, lane, now_s)
        return True

    def poll(self, now_s: float) -> None:
        """Let time pass: send what is due, end what has waited too long."""
        self._receiver.poll(now_s)
        self._sender.poll(now_s)

    def deadline(self) -> float | None:
        """When ``poll`` must be called at the latest, s; None: nothing is awaited."""
        waits = [due for due in (self._sender.deadline, self._receiver.deadline) if due is not None]
        return min(waits, default=None)

    def frames_to_send(self) -> list[CanFrame]:
        """Take out the frames to send now, in order."""
        frames, self._frames = self._frames, []
        return frames

    def events(self) -> list[IsoTpEvent]:
        """Take out what happened, oldest first."""
        events = list(self._events)
        self._events.clear()
        return events

    def forget(self) -> None:
        """Drop messages under way in both directions and frames not taken out; no event tells of it."""
        self._sender.forget()
        self._receiver.forget()
        self._frames.clear()

    def _emit(self, lane: Lane, body: bytes) -> None:
        data = padded(lane.head + body, self.config.padding)
        self._frames.append(CanFrame(lane.id, data, self.address.wide, self.config.fd))
