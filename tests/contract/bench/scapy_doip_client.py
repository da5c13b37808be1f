"""scapy's DoIP layer against a served bench car. Run as a process of its own: scapy_doip_client.py TCP UDP."""

from __future__ import annotations

import json
import socket
import sys

from scapy.contrib.automotive.doip import DoIP
from scapy.contrib.automotive.uds import UDS, UDS_RDBI
from scapy.packet import Packet


def read(link: socket.socket) -> Packet:
    head = link.recv(8, socket.MSG_WAITALL)
    return DoIP(head + link.recv(int.from_bytes(head[4:8], "big"), socket.MSG_WAITALL))


def main(tcp: int, udp: int) -> dict[str, object]:
    found: dict[str, object] = {}
    with socket.create_connection(("127.0.0.1", tcp), timeout=3) as link:
        link.sendall(bytes(DoIP(payload_type=5, source_address=0x0E00, activation_type=0, reserved_oem=b"")))
        found["activation"] = read(link).routing_activation_response
        request = DoIP(payload_type=0x8001, source_address=0x0E00, target_address=0x1001)
        link.sendall(bytes(request / UDS() / UDS_RDBI(identifiers=[0xF18C])))
        answer = read(link)
        while answer.payload_type != 0x8001:
            answer = read(link)
        found["serial"] = answer[UDS].load.decode("ascii")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker:
        asker.settimeout(3)
        asker.sendto(bytes(DoIP(payload_type=1)), ("127.0.0.1", udp))
        found["vin"] = DoIP(asker.recv(1024)).vin.decode("ascii")
    return found


if __name__ == "__main__":
    print(json.dumps(main(int(sys.argv[1]), int(sys.argv[2]))))
