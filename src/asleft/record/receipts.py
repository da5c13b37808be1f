"""Receipts: single-use permission to send exactly the bytes of an intent, kept in memory only.

A receipt dies with the program. After a restart an intent is settled by reading the module, never by sending again.
"""

from __future__ import annotations

import hmac
import secrets

import msgspec

from asleft.model.effect import Intent, Receipt
from asleft.model.errors import Code, RecordError, RunError


class ReceiptBook:
    """Receipts given out for one job and not yet used."""

    def __init__(self, job: str) -> None:
        self._job = job
        self._open: dict[str, Receipt] = {}
        self._used: set[str] = set()

    def give(self, intent: Intent, sequence: int) -> Receipt:
        """A receipt for an intent that stands durably at ``sequence``."""
        token = secrets.token_hex(16)
        receipt = Receipt(self._job, intent.id, sequence, intent.target, intent.payload, token)
        self._open[intent.id] = receipt
        return receipt

    def use(self, receipt: Receipt) -> None:
        """Use it up.

        Raises: RecordError: receipt-used the second time. RunError: receipt-missing for one not given here or altered.
        """
        kept = self._open.get(receipt.intent)
        if kept is None:
            if receipt.intent in self._used and receipt.job == self._job:
                raise RecordError(Code.RECEIPT_USED, receipt.intent)
            raise RunError(Code.RECEIPT_MISSING, f"no receipt for {receipt.intent!r} was given by this journal")
        same_token = hmac.compare_digest(kept.token.encode(), receipt.token.encode())
        if not same_token or msgspec.structs.replace(receipt, token=kept.token) != kept:
            raise RunError(Code.RECEIPT_MISSING, f"the receipt for {receipt.intent!r} is not the one given")
        del self._open[receipt.intent]
        self._used.add(receipt.intent)
