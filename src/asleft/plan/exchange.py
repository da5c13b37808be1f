"""Better orders by exchanging two neighbouring blocks, as long as it gains. Pure.

Source: L. M. Gambardella, M. Dorigo, "An ant colony system hybridized with a new local search for the sequential
ordering problem", INFORMS J. Computing 12 (2000), 237–255: the exchange of paths that keeps precedence.
"""

from __future__ import annotations

from random import Random

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


def improved(order: list[int], costs: Floats, before: Bools) -> list[int]:
    """The order after all exchanges of neighbouring blocks that gain.

    Args:
        order: first and last stay. costs: from each to each; inf where forbidden. before: [a, b]: a before b, closed.
    """
    while True:
        swap = _best_swap(order, costs, before)
        if swap is None:
            return order
        order = _swapped(order, *swap)


def kicked(order: list[int], before: Bools, chance: Random) -> list[int]:
    """The order with a few random allowed exchanges of blocks."""
    count, tries, left = len(order), 0, 3
    while left and tries < 60:
        tries += 1
        h, i, j = sorted(chance.sample(range(count - 1), 3))
        if j - h < 30 and not before[np.ix_(order[h + 1 : i + 1], order[i + 1 : j + 1])].any():
            order = _swapped(order, h, i, j)
            left -= 1
    return order


def cost(order: list[int], costs: Floats) -> float:
    """What an order costs."""
    return float(costs[order[:-1], order[1:]].sum())


def _swapped(order: list[int], h: int, i: int, j: int) -> list[int]:
    return order[: h + 1] + order[i + 1 : j + 1] + order[h + 1 : i + 1] + order[j + 1 :]


def _best_swap(order: list[int], costs: Floats, before: Bools) -> tuple[int, int, int] | None:
    count = len(order)
    rules, ways = before[np.ix_(order, order)], costs[np.ix_(order, order)]
    on = ways[np.arange(count - 1), np.arange(1, count)]
    best, gain = None, -1e-9
    for i in range(1, count - 2):
        barred = np.zeros(count, np.bool_)
        for h in range(i - 1, -1, -1):
            barred |= rules[h + 1]
            after = barred[i + 1 : count - 1]
            most = int(after.argmax()) if after.any() else len(after)
            if most == 0:
                break
            js = np.arange(i + 1, i + 1 + most)
            change = ways[h, i + 1] - on[h] - on[i] + ways[js, h + 1] + ways[i, js + 1] - on[js]
            least = int(change.argmin())
            if change[least] < gain:
                best, gain = (h, i, int(js[least])), float(change[least])
    return best
