"""OBD: requests, taking answers apart, and what a malformed answer does."""

from __future__ import annotations

import pytest

from asleft.codec.answer import AnswerMalformed
from asleft.codec.obd import bitmaps, codes, current, monitor, parameters, readiness, vehicle_info
from asleft.codec.obd.fields import Coded, Linear
from asleft.codec.obd.parameters import PARAMETERS, PIDS_OF_SIGNAL, SIGNALS
from asleft.model.errors import Code, InputError
from asleft.model.trouble import CodeKind
from asleft.model.units import UNITS


def h(text: str) -> bytes:
    return bytes.fromhex(text)


class TestTable:
    def test_every_field_lies_within_its_parameter(self) -> None:
        for parameter in PARAMETERS.values():
            for field in parameter.fields:
                size = field.size if isinstance(field, Linear) else 1
                assert field.start + size <= parameter.length, parameter.pid

    def test_every_unit_is_known(self) -> None:
        assert {signal.unit for signal in SIGNALS.values()} <= set(UNITS)

    def test_slugs_are_slugs(self) -> None:
        for slug in SIGNALS:
            assert slug == slug.lower()
            assert slug.replace("-", "").isalnum()

    def test_one_slug_has_one_unit_everywhere(self) -> None:
        for slug, pids in PIDS_OF_SIGNAL.items():
            units = {field.as_signal().unit for pid in pids for field in PARAMETERS[pid].fields if field.signal == slug}
            assert len(units) == 1, slug

    def test_parameters_that_the_trade_needs(self) -> None:
        wanted = [
            *range(0x01, 0x24), *range(0x2C, 0x4F), 0x51, 0x52, 0x5A, 0x5B, 0x5C, 0x5D, 0x5E,
            *range(0x61, 0x65), 0x66, 0x67, 0x68, 0xA6,
        ]  # fmt: skip
        assert [f"{pid:02X}" for pid in wanted if pid not in PARAMETERS] == []

    @pytest.mark.parametrize(
        ("signal", "pid"),
        [
            ("engine-speed", 0x0C), ("coolant-temperature", 0x05), ("control-module-voltage", 0x42),
            ("throttle-absolute", 0x11), ("throttle-absolute-b", 0x47), ("throttle-commanded", 0x4C),
            ("accelerator-pedal-d", 0x49), ("accelerator-pedal-e", 0x4A), ("manifold-pressure", 0x0B),
            ("barometric-pressure", 0x33), ("intake-air-temperature", 0x0F), ("vehicle-speed", 0x0D),
            ("engine-load", 0x04), ("run-time", 0x1F), ("short-term-trim-1", 0x06), ("long-term-trim-1", 0x07),
            ("mass-air-flow", 0x10), ("fuel-level", 0x2F), ("timing-advance", 0x0E), ("relative-throttle", 0x45),
            ("ambient-temperature", 0x46), ("engine-oil-temperature", 0x5C), ("purge-commanded", 0x2E),
            ("catalyst-temperature-1-1", 0x3C),
        ],
    )  # fmt: skip
    def test_signal_slugs(self, signal: str, pid: int) -> None:
        assert PIDS_OF_SIGNAL[signal][0] == pid
        assert SIGNALS[signal].resolution == PARAMETERS[pid].fields[0].as_signal().resolution

    @pytest.mark.parametrize(
        ("pid", "low", "high", "resolution"),
        [
            # ranges as SAE J1979 gives them; recalled
            (0x05, -40, 215, 1), (0x06, -100, 99.21875, 0.78125), (0x0C, 0, 16383.75, 0.25),
            (0x0E, -64, 63.5, 0.5), (0x10, 0, 655.35, 0.01), (0x11, 0, 100, 100 / 255), (0x23, 0, 655350, 10),
            (0x32, -8192, 8191.75, 0.25), (0x42, 0, 65.535, 0.001), (0x53, 0, 327.675, 0.005),
            (0x54, -32768, 32767, 1), (0x5D, -210, 301.9921875, 1 / 128), (0x5E, 0, 3276.75, 0.05),
            (0x61, -125, 130, 1), (0xA6, 0, 429496729.5, 0.1), (0x22, 0, 5177.265, 0.079),
        ],
    )  # fmt: skip
    def test_ranges(self, pid: int, low: float, high: float, resolution: float) -> None:
        signal = PARAMETERS[pid].fields[0].as_signal()
        assert (signal.low, signal.high, signal.resolution) == pytest.approx((low, high, resolution))

    @pytest.mark.parametrize(
        ("pid", "data", "values"),
        [
            # formulas recalled from SAE J1979
            (0x22, "0064", [7.9]), (0x23, "0064", [1000]), (0x24, "80008000", [1.0, 4.0]), (0x2D, "40", [-50]),
            (0x32, "FFFC", [-1.0]), (0x53, "00C8", [1.0]), (0x54, "FFFF", [-1]), (0x55, "7040", [-12.5, -50]),
            (0x59, "0001", [10]), (0x5D, "6900", [0.0]), (0x61, "7D", [0]), (0x63, "012C", [300]),
            (0x64, "7D7E7F8081", [0, 1, 2, 3, 4]), (0x67, "037B28", [83, 0]), (0x67, "017B28", [83, None]),
            (0x68, "03464700000000", [30, 31, None, None, None, None]), (0xA6, "000F4240", [100000.0]),
            (0xA4, "02000FA0", [4.0]), (0xA4, "00000FA0", [None]), (0x14, "40FF", [0.32, None]),
            (0x15, "C880", [1.0, 0.0]), (0x65, "0202", [None, 1, None, None]), (0x65, "0F04", [0, 0, 1, 0]),
            (0x50, "05000000", [50]), (0x1E, "03", [1]), (0x12, "04", [4]), (0x13, "0F", [15]),
            (0x51, "04", [4]), (0x1C, "06", [6]), (0x1D, "01", [1]), (0x5F, "0E", [14]),
            (0x4F, "01020304", [1, 2, 3, 40]), (0x3F, "1194", [410.0]),
        ],
    )  # fmt: skip
    def test_formulas(self, pid: int, data: str, values: list[float | None]) -> None:
        assert [value.value for value in current.read_parameter(pid, h(data))] == pytest.approx(values)

    @pytest.mark.parametrize(
        ("first", "last"), [(0x06, 0x09), (0x14, 0x1B), (0x24, 0x2B), (0x34, 0x3B), (0x3C, 0x3F), (0x55, 0x58)]
    )
    def test_families_share_their_formulas(self, first: int, last: int) -> None:
        data = h("9C5A7E11")
        values = [
            [value.value for value in current.read_parameter(pid, data[: PARAMETERS[pid].length])]
            for pid in range(first, last + 1)
        ]
        assert values == [values[0]] * len(values)

    def test_catalyst_places(self) -> None:
        assert [PARAMETERS[pid].fields[0].signal[-3:] for pid in range(0x3C, 0x40)] == ["1-1", "2-1", "1-2", "2-2"]

    def test_oxygen_places(self) -> None:
        assert [parameters.oxygen_place(n, four_banks=False) for n in (1, 4, 5, 8)] == [(1, 1), (1, 4), (2, 1), (2, 4)]
        assert [parameters.oxygen_place(n, four_banks=True) for n in (1, 2, 3, 8)] == [(1, 1), (1, 2), (2, 1), (4, 2)]
        with pytest.raises(ValueError):
            parameters.oxygen_place(9, four_banks=True)

    def test_unknown_words_keep_their_number(self) -> None:
        value = current.read_parameter(0x51, h("F0"))[0]
        assert (value.value, value.word) == (240.0, "reserved (240)")

    def test_coded_signals(self) -> None:
        field = PARAMETERS[0x03].fields[0]
        assert isinstance(field, Coded)
        assert field.as_signal().unit == "1"

    def test_a_value_that_does_not_fit(self) -> None:
        field = PARAMETERS[0x05].fields[0]
        assert isinstance(field, Linear)
        assert field.write(83) == h("7B")
        with pytest.raises(ValueError):
            field.write(216)


class TestCurrent:
    def test_requests(self) -> None:
        assert current.current_request([0x0C]) == h("010C")
        assert current.current_request([5, 0x0C, 0x0D, 4, 0x11, 0x42]) == h("01050C0D041142")
        assert current.freeze_request([0x05, 0x0C]) == h("0205000C00")

    @pytest.mark.parametrize("pids", [[], [1, 3, 4, 5, 6, 7, 8], [5, 5], [5, 0x68], [5, 0x9D], [0x100]])
    def test_impossible_requests(self, pids: list[int]) -> None:
        with pytest.raises(InputError) as caught:
            current.current_request(pids)
        assert caught.value.code is Code.IDENTIFIER_IMPOSSIBLE

    def test_what_the_module_left_out_is_missing(self) -> None:
        assert current.split_current(h("410C0BB8"), [0x05, 0x0C, 0x0D]) == {0x0C: h("0BB8")}

    def test_any_order(self) -> None:
        assert current.split_current(h("410D000C0BB8"), [0x0C, 0x0D]) == {0x0D: h("00"), 0x0C: h("0BB8")}

    @pytest.mark.parametrize("reply", ["", "41", "42050000", "4105", "410C0B", "410D00", "41057B057B", "41057B0D00"])
    def test_malformed(self, reply: str) -> None:
        with pytest.raises(AnswerMalformed) as caught:
            current.split_current(h(reply), [0x05, 0x0C])
        assert caught.value.code is Code.ANSWER_MALFORMED

    def test_parameter_of_uncertain_length_takes_what_there_is(self) -> None:
        parts = current.split_current(h("4168034647"), [0x68])
        assert [value.value for value in current.read_parameter(0x68, parts[0x68])] == [30, 31]

    def test_unknown_parameter_keeps_its_bytes(self) -> None:
        assert current.split_current(h("419D01020304"), [0x9D]) == {0x9D: h("01020304")}
        assert current.read_parameter(0x9D, h("01020304")) == ()

    def test_freeze_frame_of_another_number(self) -> None:
        with pytest.raises(AnswerMalformed):
            current.split_freeze(h("4205017B"), [0x05], frame=0)
        with pytest.raises(AnswerMalformed):
            current.split_freeze(h("4205"), [0x05])

    def test_several_freeze_parameters(self) -> None:
        assert current.split_freeze(h("4205017B0C010BB8"), [5, 0x0C], 1) == {5: h("7B"), 0x0C: h("0BB8")}

    def test_wrong_length(self) -> None:
        with pytest.raises(AnswerMalformed):
            current.read_parameter(0x0C, h("0B"))


class TestBitmaps:
    def test_next(self) -> None:
        assert bitmaps.next_bitmap(0, frozenset({1, 0x20})) == 0x20
        assert bitmaps.next_bitmap(0, frozenset({1})) is None
        assert bitmaps.next_bitmap(0xE0, frozenset({0x100})) is None

    def test_wrong_length(self) -> None:
        with pytest.raises(AnswerMalformed):
            bitmaps.supported(0, h("BE3FA8"))


class TestOthers:
    def test_requests(self) -> None:
        assert [codes.codes_request(kind) for kind in CodeKind] == [h("03"), h("07"), h("0A")]
        assert h("04") == codes.CLEAR_REQUEST
        assert vehicle_info.info_request(2) == h("0902")
        assert monitor.monitor_request(0x21) == h("0621")

    @pytest.mark.parametrize("reply", ["", "43", "4301", "430104", "43010420D116", "4702042001", "0100"])
    def test_malformed_codes(self, reply: str) -> None:
        with pytest.raises(AnswerMalformed):
            codes.read_codes(h(reply), CodeKind.STORED)

    def test_codes_without_count(self) -> None:
        """Older serial buses: three codes an answer, filled up with 0000."""
        assert codes.read_codes(h("43 0420 0000 0000"), CodeKind.STORED, counted=False) == ("P0420",)
        with pytest.raises(AnswerMalformed):
            codes.read_codes(h("43 0420 00"), CodeKind.STORED, counted=False)

    def test_no_freeze_frame(self) -> None:
        assert codes.freeze_code(h("0000")) is None
        with pytest.raises(AnswerMalformed):
            codes.freeze_code(h("00"))

    def test_cleared_with_more(self) -> None:
        with pytest.raises(AnswerMalformed):
            codes.read_cleared(h("4400"))

    @pytest.mark.parametrize("reply", ["4902", "490201", "490200", "490302", "4902013147", "4906021791BC82"])
    def test_malformed_info(self, reply: str) -> None:
        with pytest.raises(AnswerMalformed):
            vehicle_info.read_info(h(reply), h(reply)[1] if h(reply)[1] != 3 else 2)

    def test_unprintable_vin(self) -> None:
        with pytest.raises(AnswerMalformed):
            vehicle_info.read_info(h("490201") + bytes(range(1, 18)), 2)

    def test_two_calibrations(self) -> None:
        reply = h("490402") + b"CAL-A".ljust(16, b"\0") + b"CAL-B".ljust(16, b"\0")
        assert vehicle_info.read_info(reply, 4).texts == ("CAL-A", "CAL-B")

    def test_unknown_info_keeps_its_bytes(self) -> None:
        info = vehicle_info.read_info(h("490B0102"), 0x0B)
        assert (info.texts, info.raw) == ((), h("0102"))

    def test_monitors(self) -> None:
        assert monitor.read_monitors_supported(h("4600C0000001"), 0) == {1, 2, 0x20}
        with pytest.raises(ValueError):
            monitor.read_monitors_supported(h("460100000000"), 1)
        first, second = monitor.read_monitor(h("46 21800A 0010 0000 0020 2181 96 FFF6 FF9C 0064"), 0x21)
        assert (first.value, first.low, first.high) == pytest.approx((1.952, 0.0, 3.904))
        assert first.margin == pytest.approx(0.5)
        assert (second.value, second.low, second.high, second.unit) == (-1.0, -10.0, 10.0, "°C")
        assert second.within

    def test_monitor_outside(self) -> None:
        (test,) = monitor.read_monitor(h("46 01 01 0B 0100 0000 0080"), 1)
        assert not test.within
        assert test.margin == pytest.approx(-1.0)
        (flat,) = monitor.read_monitor(h("46 01 01 FF 0100 0100 0100"), 1)
        assert (flat.unit, flat.value, flat.margin, flat.within) == ("raw", 256.0, None, True)

    @pytest.mark.parametrize("reply", ["46", "4601010A0BB00BB0", "4602010A0BB00BB00BB0", "4601010A0BB00BB00BB001"])
    def test_malformed_monitor(self, reply: str) -> None:
        with pytest.raises(AnswerMalformed):
            monitor.read_monitor(h(reply), 1)

    def test_readiness_length(self) -> None:
        with pytest.raises(AnswerMalformed):
            readiness.read_readiness(h("820765"))
