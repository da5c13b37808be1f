"""A DoIP entity whose messages an independent library makes and reads, as a process: doip_servers.py scapy|doipclient.

Prints its TCP port, serves one tester (activation, alive check, one module at 1001, refusal of others), ends with it,
and prints what it heard as one JSON list.
"""

from __future__ import annotations

import json
import logging
import socket
import sys
from collections.abc import Callable

logging.disable(logging.CRITICAL)

ENTITY, TESTER, MODULE = 0x0E80, 0x0E00, 0x1001
Make = Callable[..., bytes]


def by_scapy() -> tuple[Make, Callable[[bytes], dict[str, object]]]:
    from scapy.contrib.automotive.doip import DoIP

    def make(kind: str, **f: object) -> bytes:
        match kind:
            case "activated":
                packet = DoIP(
                    payload_type=6,
                    logical_address_tester=TESTER,
                    logical_address_doip_entity=ENTITY,
                    routing_activation_response=0x10,
                    reserved_iso=0,
                    reserved_oem=b"",
                )
            case "alive":
                packet = DoIP(payload_type=7)
            case "ack":
                packet = DoIP(payload_type=0x8002, source_address=f["source"], target_address=TESTER, ack_code=0)
            case "nack":
                packet = DoIP(payload_type=0x8003, source_address=f["source"], target_address=TESTER, nack_code=3)
            case _:
                packet = DoIP(payload_type=0x8001, source_address=f["source"], target_address=TESTER)
                return bytes(packet / f["data"])  # type: ignore[operator]
        return bytes(packet)

    def read(data: bytes) -> dict[str, object]:
        packet = DoIP(data)
        told: dict[str, object] = {"type": packet.payload_type}
        if packet.payload_type == 5:
            told |= {"source": packet.source_address, "kind": packet.activation_type}
        elif packet.payload_type == 8:
            told |= {"source": packet.source_address}
        elif packet.payload_type == 0x8001:
            told |= {"source": packet.source_address, "target": packet.target_address}
            told["data"] = bytes(packet.payload).hex()
        return told

    return make, read


def by_doipclient() -> tuple[Make, Callable[[bytes], dict[str, object]]]:
    from doipclient import messages as m

    def framed(message: m.DoIPMessage) -> bytes:
        body = message.pack()
        return bytes((2, 0xFD)) + message.payload_type.to_bytes(2, "big") + len(body).to_bytes(4, "big") + body

    def make(kind: str, **f: object) -> bytes:
        made = {
            "activated": lambda: m.RoutingActivationResponse(TESTER, ENTITY, 0x10),
            "alive": m.AliveCheckRequest,
            "ack": lambda: m.DiagnosticMessagePositiveAcknowledgement(f["source"], TESTER, 0),
            "nack": lambda: m.DiagnosticMessageNegativeAcknowledgement(f["source"], TESTER, 3),
            "answer": lambda: m.DiagnosticMessage(f["source"], TESTER, f["data"]),
        }
        return framed(made[kind]())

    def read(data: bytes) -> dict[str, object]:
        kind = int.from_bytes(data[2:4], "big")
        message = m.payload_type_to_message[kind].unpack(data[8:], len(data) - 8)
        told: dict[str, object] = {"type": kind}
        if kind == 5:
            told |= {"source": message.source_address, "kind": int(message.activation_type)}
        elif kind == 8:
            told |= {"source": message.source_address}
        elif kind == 0x8001:
            told |= {"source": message.source_address, "target": message.target_address}
            told["data"] = bytes(message.user_data).hex()
        return told

    return make, read


def main(name: str) -> None:
    make, read = {"scapy": by_scapy, "doipclient": by_doipclient}[name]()
    heard: list[dict[str, object]] = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        print(server.getsockname()[1], flush=True)
        server.settimeout(20)
        link, _ = server.accept()
        with link:
            link.settimeout(20)
            while head := link.recv(8, socket.MSG_WAITALL):
                told = read(head + link.recv(int.from_bytes(head[4:8], "big"), socket.MSG_WAITALL))
                heard.append(told)
                if told["type"] == 5:
                    link.sendall(make("activated") + make("alive"))
                elif told["type"] == 0x8001 and told["target"] != MODULE:
                    link.sendall(make("nack", source=told["target"]))
                elif told["type"] == 0x8001:
                    asked = bytes.fromhex(str(told["data"]))
                    answer = bytes((asked[0] + 0x40,)) + asked[1:] + bytes(range(200))
                    link.sendall(make("ack", source=MODULE) + make("answer", source=MODULE, data=answer))
    print(json.dumps(heard), flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
