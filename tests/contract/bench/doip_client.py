"""doipclient with udsoncan's client against a served bench car. Run as a process: doip_client.py TCP UDP.

Prints one JSON object with what it read.
"""

from __future__ import annotations

import json
import logging
import sys

import udsoncan
from doipclient import DoIPClient
from doipclient.connectors import DoIPClientUDSConnector
from udsoncan.client import Client
from udsoncan.exceptions import NegativeResponseException

logging.disable(logging.CRITICAL)


def main(tcp: int, udp: int) -> dict[str, object]:
    found: dict[str, object] = {}
    client = DoIPClient("127.0.0.1", 0x1001, tcp_port=tcp, udp_port=udp, client_logical_address=0x0E00)
    try:
        identification = client.request_vehicle_identification()
        found["vin"] = identification.vin
        found["entity"] = identification.logical_address
        found["power"] = int(client.request_diagnostic_power_mode().diagnostic_power_mode)
        found["sockets"] = client.request_entity_status().max_concurrent_sockets
        config = dict(udsoncan.configs.default_client_config)
        config["data_identifiers"] = {0xF18C: udsoncan.AsciiCodec(3), 0x0100: udsoncan.AsciiCodec(1)}
        with Client(DoIPClientUDSConnector(client), config=config) as uds:
            found["serial"] = uds.read_data_by_identifier([0xF18C]).service_data.values[0xF18C]
            uds.change_session(3)
            uds.write_data_by_identifier(0x0100, "b")
            try:
                uds.start_routine(0x9999)
            except NegativeResponseException as refused:
                found["refusal"] = refused.response.code
    finally:
        client.close()
    return found


if __name__ == "__main__":
    print(json.dumps(main(int(sys.argv[1]), int(sys.argv[2]))))
