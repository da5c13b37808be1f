"""A second, independent client: scapy on python-can's stock loopback interface. Run as a process of its own.

Usage: scapy_client.py PORT. Prints one JSON object with what scapy understood.
"""

from __future__ import annotations

import json
import sys
from typing import Any

from scapy.config import conf

conf.contribs["CANSocket"] = {"use-python-can": True}
conf.contribs["ISOTP"] = {"use-can-isotp-kernel-module": False}

from scapy.contrib.automotive.obd.obd import OBD, OBD_S01, OBD_S09  # noqa: E402
from scapy.contrib.automotive.uds import UDS, UDS_DSC, UDS_RDBI, UDS_RDTCI  # noqa: E402
from scapy.contrib.cansocket_python_can import PythonCANSocket  # noqa: E402
from scapy.contrib.isotp import ISOTPSoftSocket  # noqa: E402


def ask(can: Any, base: Any, request: Any) -> Any:
    socket = ISOTPSoftSocket(can, tx_id=0x7E0, rx_id=0x7E8, basecls=base, padding=True)
    try:
        answer = socket.sr1(request, timeout=2, verbose=False)
    finally:
        socket.close()
    if answer is None:
        raise SystemExit(f"no answer to {request!r}")
    return answer


def main(port: int) -> dict[str, Any]:
    can = PythonCANSocket(bustype="udp_multicast", channel="239.74.163.2", port=port, can_filters=None)
    try:
        vin = ask(can, UDS, UDS() / UDS_RDBI(identifiers=[0xF190]))
        session = ask(can, UDS, UDS() / UDS_DSC(diagnosticSessionType=3))
        codes = ask(can, UDS, UDS() / UDS_RDTCI(reportType=2, DTCStatusMask=0xFF))
        refused = ask(can, UDS, UDS() / UDS_RDBI(identifiers=[0xDEAD]))
        coolant = ask(can, OBD, OBD() / OBD_S01(pid=[0x05, 0x0C]))
        obd_vin = ask(can, OBD, OBD() / OBD_S09(iid=[0x02]))
    finally:
        can.close()
    records = coolant.data_records
    return {
        "vin": vin.load.decode("ascii"),
        "session": session.diagnosticSessionType,
        "times": session.sessionParameterRecord.hex(),
        "codes": len(codes.DTCAndStatusRecord),
        "refusal": refused.negativeResponseCode,
        "coolant": float(records[0].data),
        "rpm": float(records[1].data),
        "obd vin": obd_vin.data_records[0].vehicle_identification_numbers[0].decode("ascii"),
    }


if __name__ == "__main__":
    print(json.dumps(main(int(sys.argv[1]))))
