"""How the estate's modules are wired: five buses behind a gateway that holds so many requests in flight. Invented.

Only the gateway's own module stands at the plug. What is beyond the limit waits in the gateway; a tester that asks all
modules at once is answered, later. Broadcasts stay inside.
"""

from __future__ import annotations

from ..gateway import GatewaySettings, InnerBus, Overload

ESTATE_WIRING = GatewaySettings(
    buses={
        "drive": InnerBus((
            "engine", "transmission", "alternator", "fuel pump", "cooling fan", "transfer clutch", "rear axle",
            "battery monitor",
        )),
        "chassis": InnerBus((
            "stability", "steering assist", "steering angle", "suspension", "parking brake", "brake booster",
            "restraints", "occupant sensing", "tyre pressure",
        )),
        "sight": InnerBus((
            "camera", "front radar", "corner radar left", "corner radar right", "park assist", "surround view",
            "headlamp left", "headlamp right", "headlamp levelling",
        )),
        "body": InnerBus(
            (
                "body front", "body rear", "climate front", "climate rear", "door driver", "door passenger",
                "door rear left", "door rear right", "tailgate", "roof", "seat driver", "seat passenger",
                "steering column", "switch panel", "key access", "rain and light",
            ),
            bitrate=125_000,
        ),
        "media": InnerBus(("cluster", "radio", "display", "telematics", "amplifier"), bitrate=250_000),
    },
    limit=6,
    overload=Overload.QUEUE,
    delay_s=0.0008,
    timeout_s=0.6,
)  # fmt: skip
