"""Signals that standard OBD does not carry: what only a module's own data shows, or a gauge in somebody's hand.

Here stand name and unit, so that conditions, recordings and proofs may speak of them. Which identifier of which
module carries one is the workshop's map of the car (``live.mapped``); where the map has none, the signal is absent
and says so.
A gauge's reading comes by a ``type-in`` step. The names are our own.
"""

from __future__ import annotations

#: Signal id -> unit, words.
OWN_SIGNALS: dict[str, tuple[str, str]] = {
    # running gear
    "yaw-rate": ("°/s", "yaw rate, corrected"),
    "lateral-acceleration": ("m/s²", "acceleration to the side, corrected"),
    "longitudinal-acceleration": ("m/s²", "acceleration ahead, corrected"),
    "brake-pressure": ("bar", "brake pressure, corrected"),
    "steering-angle": ("°", "steering wheel angle, corrected"),
    "steering-torque": ("N·m", "torque of the hands, corrected"),
    "learned-yaw-zero": ("°/s", "stored zero of the yaw rate"),
    "learned-lateral-zero": ("m/s²", "stored zero of the acceleration to the side"),
    "learned-longitudinal-zero": ("m/s²", "stored zero of the acceleration ahead"),
    "learned-pressure-zero": ("bar", "stored zero of the brake pressure"),
    "learned-angle-zero": ("°", "stored zero of the steering angle"),
    "learned-torque-zero": ("N·m", "stored zero of the torque"),
    "learned-left-lock": ("°", "stored left lock"),
    "learned-right-lock": ("°", "stored right lock"),
    "floor-slope-along": ("°", "floor along the car, by a level on it"),
    "floor-slope-across": ("°", "floor across the car, by a level on it"),
    # parking brake
    "caliper-peak-left": ("A", "highest motor current, left caliper"),
    "caliper-peak-right": ("A", "highest motor current, right caliper"),
    "contact-left": ("mm", "stored place where the left pads touch"),
    "contact-right": ("mm", "stored place where the right pads touch"),
    "caliper-time-left": ("s", "time the left motor ran"),
    "caliper-time-right": ("s", "time the right motor ran"),
    "wheel-drag-left": ("N·m", "turning a rear wheel by hand, left"),
    "wheel-drag-right": ("N·m", "turning a rear wheel by hand, right"),
    # gateway: sixteen modules a number, one bit each
    "listed-1": ("1", "modules in the list, first sixteen, as a number"),
    "listed-2": ("1", "modules in the list, second sixteen, as a number"),
    "listed-3": ("1", "modules in the list, third sixteen, as a number"),
    "heard-1": ("1", "modules heard, first sixteen, as a number"),
    "heard-2": ("1", "modules heard, second sixteen, as a number"),
    "heard-3": ("1", "modules heard, third sixteen, as a number"),
    # engine
    "learned-pedal-rest": ("%", "stored rest of the pedal"),
    "learned-lower-stop": ("%", "stored lower stop of the throttle"),
    "learned-idle-air": ("g/s", "stored idle air"),
    "learned-tooth-1": ("%", "stored error, segment 1"),
    "learned-tooth-2": ("%", "stored error, segment 2"),
    "learned-tooth-3": ("%", "stored error, segment 3"),
    "learned-tooth-4": ("%", "stored error, segment 4"),
    "learned-return-closed": ("%", "stored closed reading of the return valve"),
    "learned-return-travel": ("%", "stored travel of the return valve"),
    "return-valve-reading": ("%", "reading of the return valve's sensor"),
    "smoothness-1": ("mg", "smoothness correction, first in firing order"),
    "smoothness-2": ("mg", "smoothness correction, second in firing order"),
    "smoothness-3": ("mg", "smoothness correction, third in firing order"),
    "smoothness-4": ("mg", "smoothness correction, fourth in firing order"),
    # gearbox
    "gearbox-oil-temperature": ("°C", "oil of the gearbox"),
    "learned-fill-1": ("1", "stored fill, first element"),
    "learned-fill-2": ("1", "stored fill, second element"),
    "learned-fill-3": ("1", "stored fill, third element"),
    "engagement-time-1": ("s", "from asking to gripping, first element"),
    "engagement-time-2": ("s", "from asking to gripping, second element"),
    "engagement-time-3": ("s", "from asking to gripping, third element"),
    # body
    "panel-opening": ("mm", "opening of the window or roof"),
    "panel-learned": ("1", "ends learned: 0 or 1"),
    "panel-travel": ("mm", "stored travel of the window or roof"),
    "pinch-force": ("N", "force on the gauge in the opening"),
    "body-pitch": ("°", "pitch by the height sensors"),
    "learned-pitch-zero": ("°", "stored pitch zero of the lamps"),
    "beam-fall-left": ("%", "fall of the left beam, by an optical tester"),
    "beam-fall-right": ("%", "fall of the right beam, by an optical tester"),
    # supply and high voltage
    "battery-current": ("A", "current out of the battery, by its monitor"),
    "battery-current-clamp": ("A", "current out of the battery, by a clamp meter"),
    "isolation": ("kΩ", "isolation of the high voltage, by the car's own monitor"),
    "isolation-by-tester": ("MΩ", "isolation of a part, by an insulation tester"),
}
