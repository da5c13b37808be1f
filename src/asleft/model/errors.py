"""The error tree: one root, split by whose fault, and a closed list of codes.

Every error that reaches a person carries a code. Each code has one line of cause and one of advice, written for the
person at the car::

    AsleftError
    ├── InputError       what the person typed, a file, a procedure, a VIN
    ├── LinkError        the interface, the bus, the cable
    ├── ModuleError      what a control module answered, or did not
    ├── RunError         a gate, an interlock, a stop
    ├── RecordError      the journal, a signature, a disk
    └── InternalError    a fault of ours

Example::

    raise ModuleError(Code.MODULE_SILENT, "engine, 7E0", where="22 F1 90")
"""

from __future__ import annotations

from enum import StrEnum, unique


@unique
class Code(StrEnum):
    """The closed list of error codes. The value is stable: it is what a script sees."""

    VIN_LENGTH = "vin-length"
    VIN_CHARACTER = "vin-character"
    UNKNOWN_WORK_ITEM = "unknown-work-item"
    PROCEDURE_MISSING = "procedure-missing"
    PROCEDURE_BAD = "procedure-bad"
    IDENTIFIER_IMPOSSIBLE = "identifier-impossible"
    NO_EXACT_MATCH = "no-exact-match"
    STEP_UNHANDLED = "step-unhandled"
    CHECK_FAILED = "check-failed"
    PARCEL_BAD = "parcel-bad"
    IMPORT_IMPOSSIBLE = "import-impossible"
    SCREENING_REFUSED = "screening-refused"
    PLAN_CYCLE = "plan-cycle"
    STATE_UNREACHABLE = "state-unreachable"
    ORDER_REFUSED = "order-refused"
    COST_MISSING = "cost-missing"
    RECORDING_UNREADABLE = "recording-unreadable"
    COLUMN_MAP_BAD = "column-map-bad"
    DESCRIPTION_BAD = "description-bad"
    GAUGE_BAD = "gauge-bad"
    UNIT_UNKNOWN = "unit-unknown"
    UNIT_MISMATCH = "unit-mismatch"
    LINK_ADDRESS_BAD = "link-address-bad"
    LISTEN_ONLY = "listen-only"
    LINK_BUSY = "link-busy"
    NO_BUS = "no-bus"
    LINK_LOST = "link-lost"
    FRAME_INVALID = "frame-invalid"
    MODULE_UNKNOWN = "module-unknown"
    MODULE_SILENT = "module-silent"
    MODULE_REFUSED = "module-refused"
    ANSWER_MALFORMED = "answer-malformed"
    TRANSFER_BROKEN = "transfer-broken"
    RECEIPT_MISSING = "receipt-missing"
    RECEIPT_USED = "receipt-used"
    WRITES_CLOSED = "writes-closed"
    GATE_CLOSED = "gate-closed"
    INTERLOCK_BROKEN = "interlock-broken"
    STOPPED_BY_PERSON = "stopped-by-person"
    HARD_STOP = "hard-stop"
    ACCESS_CLOSED = "access-closed"
    SEQUENCE_MISSED = "sequence-missed"
    WAITED_IN_VAIN = "waited-in-vain"
    CODING_REFUSED = "coding-refused"
    CODING_DIFFERS = "coding-differs"
    FUNCTION_FAILED = "function-failed"
    JOURNAL_UNWRITABLE = "journal-unwritable"
    RECORD_DAMAGED = "record-damaged"
    HEAD_HASH_FORM = "head-hash-form"
    KEY_UNUSABLE = "key-unusable"
    KEY_UNKNOWN = "key-unknown"
    JOB_UNKNOWN = "job-unknown"
    JOB_NUMBER = "job-number"
    JOB_EXISTS = "job-exists"
    JOB_IN_USE = "job-in-use"
    CONTROL_HELD = "control-held"
    JOB_CLOSED = "job-closed"
    ORIGIN_DIFFERS = "origin-differs"
    ENGINE_ABSENT = "engine-absent"
    PERSON_UNUSABLE = "person-unusable"
    SETTING_BAD = "setting-bad"
    ASKED_WRONGLY = "asked-wrongly"
    FACT_BAD = "fact-bad"
    HELP_UNKNOWN = "help-unknown"
    ACT_UNKNOWN = "act-unknown"
    CAR_FILE_BAD = "car-file-bad"
    PAPER_UNKNOWN = "paper-unknown"
    LANGUAGE_UNKNOWN = "language-unknown"
    TIME_UNREADABLE = "time-unreadable"
    MARK_UNREADABLE = "mark-unreadable"
    INTERNAL = "internal"


#: Code -> (cause, advice). Message ids for translation are ``error.<code>.cause`` and ``error.<code>.advice``.
TEXTS: dict[Code, tuple[str, str]] = {
    Code.VIN_LENGTH: ("A VIN has 17 characters.", "Read it again from the body plate; nothing was stored."),
    Code.VIN_CHARACTER: ("A VIN never holds I, O, Q or a sign.", "Look again: I is mostly 1, O and Q mostly 0."),
    Code.UNKNOWN_WORK_ITEM: ("This work item is not in the list.", "Choose one of those offered."),
    Code.PROCEDURE_MISSING: ("No procedure with this name is in the book.", "Check the name, or write it first."),
    Code.PROCEDURE_BAD: ("The procedure file cannot be used.", "Mend the place named; the message says how."),
    Code.IDENTIFIER_IMPOSSIBLE: (
        "This identifier cannot exist in that form.",
        "Type it as the manual prints it, with its base; two bytes reach from 0000 to FFFF.",
    ),
    Code.NO_EXACT_MATCH: (
        "No row of the procedure fits this part and software number exactly.",
        "Nothing is guessed: type the identifier from the manual for this module.",
    ),
    Code.STEP_UNHANDLED: (
        "This way holds a step that this program does not carry out yet.",
        "Carry the procedure out beside your tester; nothing was sent.",
    ),
    Code.CHECK_FAILED: (
        "The second typing does not agree with the first, or the check is not allowed.",
        "Compare both with the page; correct the procedure or type again.",
    ),
    Code.PARCEL_BAD: (
        "This file of procedures cannot be taken in.",
        "Ask the sender for a new one; nothing of it was used.",
    ),
    Code.IMPORT_IMPOSSIBLE: (
        "This cannot be taken over from the data base.",
        "Write this part by hand from the manual, or choose another variant.",
    ),
    Code.SCREENING_REFUSED: (
        "This code cannot be sorted like that.",
        "Repair what blocks, or sort it with a name and a reason where the risk allows.",
    ),
    Code.PLAN_CYCLE: (
        "The order rules contradict each other.",
        "Drop or turn one of the rules named, with its source page.",
    ),
    Code.STATE_UNREACHABLE: (
        "No way leads to the car state that is needed.",
        "Add the missing move with its minutes, or leave this procedure out.",
    ),
    Code.ORDER_REFUSED: (
        "The plan cannot be worked in this order.",
        "See the reason; the job goes on in the order it had.",
    ),
    Code.COST_MISSING: (
        "Car state or minutes are not given.",
        "Say in which car state it is done and how many minutes it takes; nothing counts as zero.",
    ),
    Code.RECORDING_UNREADABLE: ("The recording cannot be read.", "Check the file; see the place named."),
    Code.COLUMN_MAP_BAD: ("The column map does not fit the recording.", "Correct the map at the place named."),
    Code.DESCRIPTION_BAD: (
        "The network description cannot be used.",
        "Correct the file or the name in it that is told.",
    ),
    Code.GAUGE_BAD: (
        "This gauge or its value cannot be used.",
        "Name the gauge, its step and its error; type a number.",
    ),
    Code.UNIT_UNKNOWN: ("This unit is not known.", "Use one of the units listed in the docs."),
    Code.UNIT_MISMATCH: ("These units measure different things.", "Use a unit of the same quantity."),
    Code.LINK_ADDRESS_BAD: ("This address of a link cannot be used.", "Write it as the message says."),
    Code.LISTEN_ONLY: ("This link only listens.", "Nothing was sent; open it without listen=1 to send."),
    Code.LINK_BUSY: (
        "The link was busy with other requests until the time was over; the module was not asked.",
        "Ask again.",
    ),
    Code.NO_BUS: (
        "Nothing was heard and nothing answered on this link.",
        "Check plug, key on, interface power and the address of the link.",
    ),
    Code.LINK_LOST: (
        "The link to the car was lost.",
        "Leave the key as it is, plug in again; what was under way will be read back.",
    ),
    Code.FRAME_INVALID: ("A frame breaks the rules of its bus.", "Report it: this should not reach a bus."),
    Code.MODULE_UNKNOWN: (
        "This car's map has no module of that name.",
        "Choose one that it has, or add the module with its two identifiers from the manual.",
    ),
    Code.MODULE_SILENT: (
        "The module did not answer in time.",
        "Check key position and supply; then whether this car has the module.",
    ),
    Code.MODULE_REFUSED: ("The module refused.", "See the reason given; change the condition before asking again."),
    Code.ANSWER_MALFORMED: (
        "The module's answer does not have the form the standard asks for.",
        "Read again once; if it stays, treat as not read.",
    ),
    Code.TRANSFER_BROKEN: (
        "A long answer broke off or came out of order.",
        "Read again; check the connection if it stays.",
    ),
    Code.RECEIPT_MISSING: (
        "Something that changes the car was to be sent without being written down first.",
        "Nothing was sent. Report it.",
    ),
    Code.RECEIPT_USED: (
        "This permission to send was used already.",
        "Nothing was sent. Read the module back before any repeat.",
    ),
    Code.WRITES_CLOSED: (
        "Writing to real cars is switched off in the settings.",
        "Work beside your tester, or open it in the settings.",
    ),
    Code.GATE_CLOSED: ("An entry condition does not hold.", "See which, and by how much; nothing was sent."),
    Code.INTERLOCK_BROKEN: (
        "A condition was lost while the procedure ran.",
        "The step reacted as declared; see the record.",
    ),
    Code.STOPPED_BY_PERSON: ("Stopped on request.", "The module was left in its default session where it answered."),
    Code.HARD_STOP: (
        "This function is a hard stop: here it is read and verified only.",
        "Have it done by a party that is trained and authorised for it; nothing was sent.",
    ),
    Code.ACCESS_CLOSED: (
        "The module asks for access, and the workshop's own way to it gave none.",
        "Use the workshop's own authorisation; do not try again before the module's waiting time is over.",
    ),
    Code.SEQUENCE_MISSED: (
        "The sequence by hand was missed.",
        "Look at the causes; the sequence is begun from the top as the manual says.",
    ),
    Code.WAITED_IN_VAIN: ("What was waited for did not come.", "See the value and the limit; nothing was sent."),
    Code.CODING_REFUSED: (
        "This coding may not be written.",
        "See the rule or the value named; read the source and the car again. Nothing was sent.",
    ),
    Code.CODING_DIFFERS: (
        "The module does not hold the coding that was meant.",
        "Read it again before anything else; the picture before is kept and can be restored.",
    ),
    Code.FUNCTION_FAILED: (
        "An option that was coded does not work at the car.",
        "Look at part, plug and fuse; the coding is written and read back, the picture before can be restored.",
    ),
    Code.JOURNAL_UNWRITABLE: (
        "The record cannot be written.",
        "Free space or rights on the disk; nothing is sent until then.",
    ),
    Code.RECORD_DAMAGED: (
        "The record does not check.",
        "Use the copy that does; the finding names the first bad event.",
    ),
    Code.HEAD_HASH_FORM: (
        "A head hash has 64 hexadecimal digits.",
        "Copy it whole from the report; spaces do no harm.",
    ),
    Code.KEY_UNUSABLE: ("The signing key cannot be used.", "Check file, owner and rights of the key."),
    Code.KEY_UNKNOWN: ("No key of the workshop is meant by this.", "asleft key show lists them by fingerprint."),
    Code.JOB_UNKNOWN: ("There is no job with this number.", "List the jobs and choose one."),
    Code.JOB_NUMBER: (
        "This cannot be a job's number.",
        "Use letters, digits, dot, dash and underscore, at most 64, beginning with a letter or digit.",
    ),
    Code.JOB_EXISTS: ("A job with this number exists already.", "Go on with it, or choose another number."),
    Code.JOB_IN_USE: ("Another program is writing this job.", "Close it there; looking at it needs no lease."),
    Code.CONTROL_HELD: (
        "Another person or device has control of this car.",
        "Let them hand it over, or take it over and say why; anybody may say stop.",
    ),
    Code.JOB_CLOSED: ("This job is closed; nothing more is written to it.", "Open a new job for new work."),
    Code.ORIGIN_DIFFERS: (
        "This job began on another kind of link.",
        "Open a new job; vehicle, bench and replay are never mixed in one record.",
    ),
    Code.ENGINE_ABSENT: ("The engine does not answer.", "Start it; the record up to here is safe."),
    Code.HELP_UNKNOWN: ("There is no such help page.", "Begin with the list of help pages."),
    Code.SETTING_BAD: (
        "A setting of the workshop cannot be used.",
        "Mend it in workshop.toml or with asleft settings; until then nothing is started with it.",
    ),
    Code.FACT_BAD: (
        "This fact cannot be written into the record.",
        "Say it as the message asks; asleft report facts lists what can be stated.",
    ),
    Code.ASKED_WRONGLY: ("This cannot be looked for.", "Ask as the message says."),
    Code.PERSON_UNUSABLE: (
        "This person or the file of people cannot be used.",
        "Use a name, a role of the list and a password long enough; nothing was changed.",
    ),
    Code.ACT_UNKNOWN: ("The bench car cannot do this.", "Choose one of the acts it lists, with their arguments."),
    Code.CAR_FILE_BAD: ("The bench-car file cannot be used.", "Mend what is named; docs/bench.md shows a whole one."),
    Code.PAPER_UNKNOWN: ("The report knows no such paper.", "Use a4 or letter."),
    Code.LANGUAGE_UNKNOWN: ("The report is not written in this language.", "Use one of those listed in the docs."),
    Code.MARK_UNREADABLE: ("The workshop's mark cannot be printed.", "Use an SVG or PNG file."),
    Code.TIME_UNREADABLE: ("This is not a date with a time.", "Write it as 2031-04-17T12:00:00Z."),
    Code.INTERNAL: ("A fault of the program.", "The record is safe up to here; please report what you did."),
}


class AsleftError(Exception):
    """Root of all errors of this project.

    Args:
        code: entry of the closed list.
        detail: what exactly, in plain words or bytes; no secrets.
        where: place (file:line, module, step) if known.
    """

    def __init__(self, code: Code, detail: str = "", where: str = "") -> None:
        self.code = code
        self.detail = detail
        self.where = where
        super().__init__(self.sentence())

    @property
    def cause(self) -> str:
        """One line: why."""
        return TEXTS[self.code][0]

    @property
    def advice(self) -> str:
        """One line: what to do."""
        return TEXTS[self.code][1]

    def sentence(self) -> str:
        """Where, what, why and what to do, as one readable line."""
        place = f"{self.where}: " if self.where else ""
        detail = f" ({self.detail})" if self.detail else ""
        return f"{place}{self.cause}{detail} {self.advice} [{self.code.value}]"


class InputError(AsleftError):
    """Something a person typed or a file said cannot be used."""


class LinkError(AsleftError):
    """The interface or the bus failed."""


class ModuleError(AsleftError):
    """A control module was silent, refused or answered out of form."""


class RefusedError(ModuleError):
    """A control module gave a negative response; ``refusal`` is its code, 0 when it told its refusal in another way.

    Source: ISO 14229-1, annex A.
    """

    def __init__(self, refusal: int, detail: str = "", where: str = "") -> None:
        self.refusal = refusal
        told = f"{refusal:02X} {detail}" if refusal else detail
        super().__init__(Code.MODULE_REFUSED, told.strip(), where)


class RunError(AsleftError):
    """A gate, an interlock or a person stopped a run."""


class RecordError(AsleftError):
    """The journal, a record or a key cannot be used."""


class InternalError(AsleftError):
    """A fault of this program."""
