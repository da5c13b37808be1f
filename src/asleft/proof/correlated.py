"""Uncertainty of a mean whose samples depend on each other.

Neighbouring readings of an engine are not independent, and a slow link repeats them; counting them as independent
makes u too small by a factor of two to ten. The mean's variance is estimated on the samples and on their block means
(2, 4, 8 ... samples a block), each as a first-order autoregressive process with its correlation corrected for bias,
and the largest of these is taken: the blocks find slow movements below fast noise, which a single lag-1 correlation
misses. Each is widened by Student's t for its effective number, so that ± 2 u covers 95 %.

Source: variance of a mean under correlation, G. E. P. Box, G. M. Jenkins, *Time Series Analysis*, 2.1 (recalled); bias
of the lag-1 coefficient, M. G. Kendall, *Biometrika* 41 (1954) 403 (recalled); taking the largest over block sizes is
our own choice, its coverage is measured in docs/proof.md.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from .arrays import Array

_FEWEST_BLOCKS = 10
_LARGEST_CORRELATION = 0.995
#: Correlation that a rhythm shows half a period (negative) and a period (positive) later. Our own choice.
_RHYTHM = 0.3


def level(values: Array) -> float:
    """Mean, by the departures from the first reading: readings that are all the same have exactly that mean."""
    return float(values[0] + (values - values[0]).mean())


def autocorrelation(values: Array, lag: int = 1) -> float:
    """Sample autocorrelation coefficient; 0 for a constant series.

    Source: NIST StRD, univariate summary statistics, definition of r(1).
    """
    d = values - values.mean()
    power = float(d @ d)
    return float(d[lag:] @ d[:-lag]) / power if power > 0.0 and len(d) > lag else 0.0


def autocorrelations(values: Array, lags: int) -> Array:
    """Sample autocorrelation coefficients for lags 0 to ``lags``, by the fast Fourier transform; zeros if constant."""
    n = len(values)
    d = values - values.mean()
    size = 1 << (n + lags).bit_length()
    power = np.fft.irfft(np.abs(np.fft.rfft(d, size)) ** 2, size)[: lags + 1]
    return power / power[0] if power[0] > 0.0 else np.zeros(lags + 1)


def mean_uncertainty(values: Array) -> tuple[float, float]:
    """Standard uncertainty of the mean and the number of independent samples it corresponds to.

    Args: values: length n ≥ 3, in order, about evenly spaced.
    Returns: u, widened so that ± 2 u covers 95 %; n_eff, at most n: variance of one sample over that of the mean.
    """
    n = len(values)
    variance = float(np.var(values))
    if variance <= 0.0:
        return 0.0, float(n)
    u, plain, block = 0.0, 0.0, _rhythm(values)
    while block == 1 or n // block >= _FEWEST_BLOCKS:
        count = n // block
        means = values[n - count * block :].reshape(count, block).mean(axis=1)
        u_block, plain_block = _autoregressive(means)
        u, plain = max(u, u_block), max(plain, plain_block)
        block *= 2
    return u, max(1.0, min(float(n), variance / max(plain * plain, variance / n)))


def _rhythm(values: Array) -> int:
    """Samples in one period of a rhythm of which at least ten were seen; 1 without one.

    Means over whole periods are free of it. On a rhythm a lag-1 correlation alone would claim that almost nothing was
    learned from one sample to the next, which is not so.
    """
    half = len(values) // (2 * _FEWEST_BLOCKS)
    if half < 2 or autocorrelation(values) < _RHYTHM:
        return 1  # without correlation from one to the next it could not mislead
    r = autocorrelations(values, 2 * half)
    lowest = int(np.argmin(r[: half + 1]))
    return 2 * lowest if r[lowest] < -_RHYTHM and r[2 * lowest] > _RHYTHM else 1


def _autoregressive(values: Array) -> tuple[float, float]:
    """Widened and plain standard uncertainty of the mean of a first-order autoregressive process."""
    n = len(values)
    d = values - values.mean()
    power = float(d @ d)
    if power <= 0.0:
        return 0.0, 0.0
    r1 = float(d[1:] @ d[:-1]) / power
    rho = min(_LARGEST_CORRELATION, max(0.0, r1 + (1.0 + 4.0 * r1) / n))
    share = _variance_of_mean(rho, n)
    plain = math.sqrt(power / n / max(1.0 - share, 0.05) * share)
    return plain * widening(1.0 / share - 1.0), plain


def _variance_of_mean(rho: float, n: int) -> float:
    """Variance of the mean over the variance of one sample, for correlation ρ^k: [1 + 2 Σ (1 - k/n) ρ^k] / n."""
    tail = rho / (1.0 - rho) - rho * (1.0 - rho**n) / (n * (1.0 - rho) ** 2)
    return (1.0 + 2.0 * tail) / n


def widening(dof: float) -> float:
    """Student's t for 95 % over 2: what a part of u with few degrees of freedom is multiplied by; about 1 for many.

    Source: JCGM 100:2008, G.3, table G.2 (recalled); k = 2 for 95 %.
    """
    return _widening(round(max(1.0, dof), 1)) if dof < 60.0 else 1.0


@lru_cache(maxsize=1024)
def _widening(dof: float) -> float:
    from scipy.special import stdtrit  # noqa: PLC0415 - late: half a second to import

    return max(1.0, float(stdtrit(dof, 0.975)) / 2.0)
