"""The refusals as data: code to (standard name, family, plain words, signals that show it beforehand …).

Source: ISO 14229-1:2020 annex A and ISO 14230-3 for codes and names (check values, ``vectors/nrc.csv``); the words are
ours.
"""

from __future__ import annotations

Row = tuple[str, ...]

_LIKELY = ("engine-speed", "vehicle-speed", "coolant-temperature", "control-module-voltage", "accelerator-pedal-d")
_TEMPERATURES = ("coolant-temperature", "engine-oil-temperature", "intake-air-temperature")
_PEDALS = ("accelerator-pedal-d", "accelerator-pedal-e", "throttle-absolute")

_GENERAL: dict[int, Row] = {
    0x10: ("generalReject", "unknown", "Refused without a reason."),
    0x11: ("serviceNotSupported", "not-supported", "This module does not do it this way: does the procedure fit it?"),
    0x12: (
        "subFunctionNotSupported",
        "not-supported",
        "This module does not know this form: does the procedure fit it?",
    ),
    0x13: (
        "incorrectMessageLengthOrInvalidFormat",
        "procedure",
        "The request has a wrong form: not a fault of the car.",
    ),
    0x14: ("responseTooLong", "procedure", "The answer would be too long: ask for less at once."),
    0x21: ("busyRepeatRequest", "busy", "The module is busy: wait, then ask again."),
    0x22: ("conditionsNotCorrect", "unstated-condition", "A condition does not hold; which is not said.", *_LIKELY),
    0x24: ("requestSequenceError", "sequence", "A step was left out, or came too early."),
    0x25: ("noResponseFromSubnetComponent", "unknown", "A part behind this module does not answer."),
    0x26: (
        "failurePreventsExecutionOfRequestedAction",
        "unstated-condition",
        "A fault in the car stands in the way: read the trouble codes first.",
    ),
    0x31: ("requestOutOfRange", "range", "Identifier or value not valid here: suspect the wrong procedure or variant."),
    0x70: ("uploadDownloadNotAccepted", "transfer", "The module does not accept the transfer."),
    0x71: ("transferDataSuspended", "transfer", "The transfer broke off."),
    0x72: (
        "generalProgrammingFailure",
        "transfer",
        "Programming failed: leave the supply on, go to the recovery step.",
        "control-module-voltage",
    ),
    0x73: ("wrongBlockSequenceCounter", "transfer", "A block of the transfer is missing or came twice."),
    0x78: ("requestCorrectlyReceived-ResponsePending", "pending", "The module is working: keep waiting."),
    0x7E: ("subFunctionNotSupportedInActiveSession", "session", "Not in this session: open the right one."),
    0x7F: ("serviceNotSupportedInActiveSession", "session", "Not in this session: open the right one."),
}

_NO_ACCESS = "Authorised access is needed: the workshop's own, or stop."
_CERTIFICATE = "The workshop's certificate is not accepted: stop."

_ACCESS: dict[int, Row] = {
    0x33: ("securityAccessDenied", "access", _NO_ACCESS),
    0x34: ("authenticationRequired", "access", _NO_ACCESS),
    0x35: ("invalidKey", "access", "The access key is wrong: stop; never try in a loop."),
    0x36: ("exceedNumberOfAttempts", "access", "Too many attempts: stop, and wait the lock-out time."),
    0x37: ("requiredTimeDelayNotExpired", "access", "The lock-out time is not over: wait."),
    0x38: ("secureDataTransmissionRequired", "access", "Only over a secured connection."),
    0x39: ("secureDataTransmissionNotAllowed", "access", "Not over a secured connection."),
    0x3A: ("secureDataVerificationFailed", "access", "The secured message was not accepted."),
    0x3B: (
        "terminationWithSignatureRequested",
        "access",
        "The module ended the secured exchange and asks for a signature.",
    ),
    0x3C: ("accessDenied", "access", _NO_ACCESS),
    0x3D: ("versionNotSupported", "access", "This version of the secured exchange is not supported."),
    0x3E: ("securedLinkNotSupported", "access", "A secured connection is not supported."),
    0x3F: ("certificateNotAvailable", "access", "The module has no certificate for this."),
    0x40: ("auditTrailInformationNotAvailable", "access", "The module has no log of accesses."),
    0x50: (
        "certificateVerificationFailedInvalidTimePeriod",
        "access",
        "The certificate is out of date, or not yet valid.",
    ),
    0x51: ("certificateVerificationFailedInvalidSignature", "access", _CERTIFICATE),
    0x52: ("certificateVerificationFailedInvalidChainOfTrust", "access", _CERTIFICATE),
    0x53: ("certificateVerificationFailedInvalidType", "access", _CERTIFICATE),
    0x54: ("certificateVerificationFailedInvalidFormat", "access", _CERTIFICATE),
    0x55: ("certificateVerificationFailedInvalidContent", "access", _CERTIFICATE),
    0x56: ("certificateVerificationFailedInvalidScope", "access", "The certificate does not cover this."),
    0x57: ("certificateVerificationFailedInvalidCertificate", "access", _CERTIFICATE),
    0x58: ("ownershipVerificationFailed", "access", "Proof of ownership was not accepted."),
    0x59: ("challengeCalculationFailed", "access", "The module could not prepare the access: try later."),
    0x5A: ("settingAccessRightsFailed", "access", "The module could not give the access."),
    0x5B: ("sessionKeyCreationDerivationFailed", "access", "The module could not make a key for the exchange."),
    0x5C: ("configurationDataUsageFailed", "access", "The module could not use the configuration for the access."),
    0x5D: ("deAuthenticationFailed", "access", "The module could not end the access."),
}

_CONDITIONS: dict[int, Row] = {
    0x81: ("rpmTooHigh", "engine-speed", "Engine speed too high.", "engine-speed"),
    0x82: ("rpmTooLow", "engine-speed", "Engine speed too low.", "engine-speed"),
    0x83: ("engineIsRunning", "engine-state", "The engine is running: stop it, key on.", "engine-speed"),
    0x84: ("engineIsNotRunning", "engine-state", "The engine is not running: start it.", "engine-speed"),
    0x85: ("engineRunTimeTooLow", "run-time", "The engine has not run long enough: let it run.", "run-time"),
    0x86: ("temperatureTooHigh", "temperature", "Too hot: let it cool down.", *_TEMPERATURES),
    0x87: ("temperatureTooLow", "temperature", "Too cold: warm it up.", *_TEMPERATURES),
    0x88: ("vehicleSpeedTooHigh", "vehicle-speed", "The car moves, or too fast: slow down or stop.", "vehicle-speed"),
    0x89: ("vehicleSpeedTooLow", "vehicle-speed", "The car is too slow for this.", "vehicle-speed"),
    0x8A: ("throttle/PedalTooHigh", "pedal", "Throttle or pedal too far open: foot off.", *_PEDALS),
    0x8B: ("throttle/PedalTooLow", "pedal", "Throttle or pedal not open enough: foot down.", *_PEDALS),
    0x8C: (
        "transmissionRangeNotInNeutral",
        "selector",
        "Not in neutral: move the selector.",
        "automatic-in-gear",
        "manual-in-gear",
    ),
    0x8D: (
        "transmissionRangeNotInGear",
        "selector",
        "Not in gear: move the selector.",
        "automatic-in-gear",
        "manual-in-gear",
    ),
    0x8F: ("brakeSwitch(es)NotClosed", "brake", "Brake not seen: press and hold the brake."),
    0x90: ("shifterLeverNotInPark", "selector", "Not in park: select P."),
    0x91: ("torqueConverterClutchLocked", "converter-clutch", "The converter clutch is locked."),
    0x92: ("voltageTooHigh", "supply", "Supply too high: adjust the battery support.", "control-module-voltage"),
    0x93: ("voltageTooLow", "supply", "Supply too low: adjust the battery support.", "control-module-voltage"),
    0x94: ("resourceTemporarilyNotAvailable", "busy", "Not available just now: wait, then ask again."),
}

#: ISO 14229-1.
UDS: dict[int, Row] = _GENERAL | _ACCESS | _CONDITIONS

#: ISO 14230-3.
KWP2000: dict[int, Row] = {
    0x10: _GENERAL[0x10],
    0x11: _GENERAL[0x11],
    0x12: (
        "subFunctionNotSupported-InvalidFormat",
        "not-supported",
        "This module does not know this form, or the request has a wrong one: does the procedure fit it?",
    ),
    0x21: _GENERAL[0x21],
    0x22: (
        "conditionsNotCorrect-RequestSequenceError",
        "unstated-condition",
        "A condition does not hold, or a step was left out; which is not said.",
        *_LIKELY,
    ),
    0x23: ("routineNotComplete", "busy", "The routine is still running: wait, then ask again."),
    0x31: _GENERAL[0x31],
    0x33: ("securityAccessDenied-SecurityAccessRequested", "access", _NO_ACCESS),
    0x35: _ACCESS[0x35],
    0x36: _ACCESS[0x36],
    0x37: _ACCESS[0x37],
    0x40: ("downloadNotAccepted", "transfer", "The module does not accept the transfer."),
    0x50: ("uploadNotAccepted", "transfer", "The module does not give the data."),
    0x71: ("transferSuspended", "transfer", "The transfer broke off."),
    0x78: _GENERAL[0x78],
    0x80: (
        "subFunctionNotSupportedInActiveDiagnosticSession",
        "session",
        "Not in this session: open the right one.",
    ),
    0x9A: ("dataDecompressionFailed", "transfer", "The module could not unpack the data."),
    0x9B: ("dataDecryptionFailed", "transfer", "The module could not decipher the data."),
    0xA0: ("EcuNotResponding", "unknown", "A part behind this module does not answer."),
    0xA1: ("EcuAddressUnknown", "unknown", "No such part behind this module."),
}
