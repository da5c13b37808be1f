"""Turns of the virtual loop against a bare real loop that does the same timers without waiting, side by side.

python benchmarks/virtual_loop.py
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable

from asleft.job.virtual import VirtualLoop

TURNS = 100_000


def chain(loop: asyncio.AbstractEventLoop, step_s: float) -> Callable[[], None]:
    """A timer that sets the next one, ``TURNS`` times, then stops the loop."""
    left = TURNS

    def tick() -> None:
        nonlocal left
        left -= 1
        if left:
            loop.call_at(loop.time() + step_s, tick)
        else:
            loop.stop()

    return tick


def measure(loop: asyncio.AbstractEventLoop, step_s: float) -> float:
    """Wall time of the chain, s."""
    loop.call_soon(chain(loop, step_s))
    begin = time.perf_counter()
    loop.run_forever()
    took = time.perf_counter() - begin
    loop.close()
    return took


def main() -> None:
    """Measure three times and print the best of each."""
    virtual = min(measure(VirtualLoop(), 1e-3) for _ in range(3))
    real = min(measure(asyncio.SelectorEventLoop(), 0.0) for _ in range(3))
    print(
        f"{TURNS} turns: virtual {virtual:.2f} s for {TURNS * 1e-3:.0f} s, bare real loop {real:.2f} s without waiting"
    )
    print(f"ratio {virtual / real:.2f}")


if __name__ == "__main__":
    main()
