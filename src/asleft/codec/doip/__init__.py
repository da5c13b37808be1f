"""DoIP (ISO 13400-2) as pure functions and a splitter: messages, their bytes, words for their codes."""

from __future__ import annotations

from .messages import (
    ActivationAnswer,
    ActivationRequest,
    AliveAnswer,
    AliveRequest,
    Diagnostic,
    DiagnosticAck,
    DiagnosticNack,
    DoipMessage,
    EntityAnswer,
    EntityRequest,
    GenericNack,
    PayloadType,
    PowerAnswer,
    PowerRequest,
    VehicleAnnouncement,
    VehicleRequest,
)
from .wire import DoipBroken, DoipItem, DoipSplitter, UnknownPayload, decode, encode

__all__ = [
    "ActivationAnswer",
    "ActivationRequest",
    "AliveAnswer",
    "AliveRequest",
    "Diagnostic",
    "DiagnosticAck",
    "DiagnosticNack",
    "DoipBroken",
    "DoipItem",
    "DoipMessage",
    "DoipSplitter",
    "EntityAnswer",
    "EntityRequest",
    "GenericNack",
    "PayloadType",
    "PowerAnswer",
    "PowerRequest",
    "UnknownPayload",
    "VehicleAnnouncement",
    "VehicleRequest",
    "decode",
    "encode",
]
