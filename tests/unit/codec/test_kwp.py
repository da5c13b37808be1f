"""KWP2000: splitter of the K-line, and the services."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from asleft.codec.answer import AnswerMalformed
from asleft.codec.kwp import codes, control, data, header, session
from asleft.codec.kwp.header import KwpBroken, KwpFrame, KwpSplitter
from asleft.model.errors import Code, InputError


def h(text: str) -> bytes:
    return bytes.fromhex(text)


class TestSplitter:
    def test_several_frames_in_one_piece(self) -> None:
        splitter = KwpSplitter()
        assert splitter.feed(h("C133F18166" + "018182" + "83F1")) == [
            KwpFrame(h("81"), 0x33, 0xF1, True),
            KwpFrame(h("81")),
        ]
        assert splitter.feed(h("11C18FEFC4")) == [KwpFrame(h("C18FEF"), 0xF1, 0x11)]
        assert splitter.gap() is None

    def test_quiet_ends_a_frame_that_was_cut_short(self) -> None:
        splitter = KwpSplitter()
        assert splitter.feed(h("83F111C1")) == []
        broken = splitter.gap()
        assert isinstance(broken, KwpBroken)
        assert broken.code is Code.TRANSFER_BROKEN
        assert splitter.feed(h("018182")) == [KwpFrame(h("81"))]

    def test_wrong_checksum_does_not_stop_the_next_frame(self) -> None:
        splitter = KwpSplitter()
        bad, good = splitter.feed(h("018183" + "018182"))
        assert isinstance(bad, KwpBroken)
        assert good == KwpFrame(h("81"))

    def test_other_header_is_broken(self) -> None:
        """Its length is not in the header: all that came is dropped at once, and the next frame is whole again."""
        splitter = KwpSplitter()
        (item,) = splitter.feed(h("686AF10100C4"))
        assert isinstance(item, KwpBroken)
        assert splitter.feed(h("018182")) == [KwpFrame(h("81"))]

    def test_no_payload_is_broken(self) -> None:
        (item,) = KwpSplitter().feed(h("8010F100") + bytes((0x81,)))
        assert isinstance(item, KwpBroken)

    @pytest.mark.parametrize("text", ["", "01", "0181", "01818282", "018182018182", "018183"])
    def test_not_exactly_one(self, text: str) -> None:
        with pytest.raises(KwpBroken):
            header.read_frame(h(text))

    @pytest.mark.parametrize("text", ["", "486B10", "486B10417B", "696B1041057B84", "486B1041057B85"])
    def test_iso_9141_broken(self, text: str) -> None:
        with pytest.raises(KwpBroken):
            header.read_obd_9141(h(text))

    @pytest.mark.parametrize("length", [0, 256])
    def test_impossible_payload(self, length: int) -> None:
        for make in (
            lambda p: header.make_frame(p, 1, 2),
            header.make_frame_without_address,
            header.make_obd_9141,
        ):
            with pytest.raises(InputError):
                make(bytes(length))

    def test_long_frame_without_address(self) -> None:
        frame = header.make_frame_without_address(bytes(64))
        assert frame[:2] == h("0040")
        assert header.read_frame(frame) == KwpFrame(bytes(64))


class TestServices:
    def test_requests(self) -> None:
        assert session.session_request(0x81) == h("1081")
        assert session.keep_alive_request() == h("3E01")
        assert session.keep_alive_request(quiet=True) == h("3E02")
        assert session.keep_alive_request(short=True) == h("3E")
        assert data.identification_request(0x9B) == h("1A9B")
        assert data.read_request(0x01) == h("2101")
        assert data.write_request(0x01, h("AA")) == h("3B01AA")
        assert codes.codes_request() == h("1802FF00")
        assert codes.clear_request() == h("14FF00")
        assert control.output_request(0x01, control.ADJUST, h("64")) == h("30010764")
        assert control.start_request(0x42, h("01")) == h("314201")
        assert control.stop_request(0x42) == h("3242")
        assert control.result_request(0x42) == h("3342")

    def test_answers(self) -> None:
        session.read_stopped(h("C2"))
        session.read_session_ended(h("60"))
        session.read_kept_alive(h("7E"))
        assert session.read_session(h("5081"), 0x81) == b""
        assert data.read_identification(h("5A9B41"), 0x9B) == b"A"
        assert data.read_value(h("61010203"), 1) == h("0203")
        data.read_written(h("7B01"), 1)
        codes.read_cleared(h("54FF00"))
        assert control.read_output(h("70010764"), 1, 7) == h("64")
        assert control.read_started(h("714200"), 0x42) == h("00")
        assert control.read_stopped(h("7242"), 0x42) == b""
        assert control.read_result(h("734205"), 0x42) == h("05")

    def test_codes(self) -> None:
        first, second = codes.read_codes(h("58020507E00300 20".replace(" ", "")))
        assert (first.code, first.storage, first.lamp) == ("P0507", codes.Storage.PRESENT, True)
        assert (second.code, second.storage, second.lamp) == ("P0300", codes.Storage.STORED, False)
        assert codes.read_codes(h("5800")) == ()

    @pytest.mark.parametrize(
        "read",
        [
            lambda: session.read_started(h("C18F")),
            lambda: session.read_session(h("5089"), 0x81),
            lambda: session.read_session_ended(h("6000")),
            lambda: session.read_stopped(h("C3")),
            lambda: session.read_kept_alive(h("7F")),
            lambda: data.read_identification(h("5A9B"), 0x9B),
            lambda: data.read_value(h("6102AA"), 1),
            lambda: data.read_written(h("7B0100"), 1),
            lambda: codes.read_codes(h("58")),
            lambda: codes.read_codes(h("58010507")),
            lambda: codes.read_codes(h("58010507E000")),
            lambda: codes.read_cleared(h("540000")),
            lambda: control.read_output(h("7001"), 1, 7),
            lambda: control.read_started(h("7143"), 0x42),
            lambda: control.read_stopped(h("7142"), 0x42),
            lambda: control.read_result(h("73"), 0x42),
        ],
    )
    def test_malformed(self, read: Callable[[], object]) -> None:
        with pytest.raises(AnswerMalformed):
            read()

    def test_no_data_to_write(self) -> None:
        with pytest.raises(InputError):
            data.write_request(1, b"")
