"""How often one address may ask for something: a bucket that fills with time. Pure; the time is given."""

from __future__ import annotations

from dataclasses import dataclass, field

#: Addresses remembered at most; the longest quiet ones are forgotten first.
_MOST = 2000


@dataclass
class Bucket:
    """Tokens of one address."""

    tokens: float
    at_s: float


@dataclass
class Limit:
    """At most ``burst`` at once and one every ``every_s`` after that, for each name apart."""

    burst: int
    every_s: float
    _buckets: dict[str, Bucket] = field(default_factory=dict[str, Bucket])

    def take(self, name: str, now_s: float) -> float:
        """Take one; 0 when it may pass, else seconds until the next may."""
        bucket = self._buckets.pop(name, Bucket(float(self.burst), now_s))
        self._buckets[name] = bucket  # newest last
        bucket.tokens = min(float(self.burst), bucket.tokens + max(0.0, now_s - bucket.at_s) / self.every_s)
        bucket.at_s = now_s
        if len(self._buckets) > _MOST:
            del self._buckets[next(iter(self._buckets))]
        if bucket.tokens >= 1.0:
            bucket.tokens -= 1.0
            return 0.0
        return (1.0 - bucket.tokens) * self.every_s
