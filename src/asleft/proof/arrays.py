"""Names for the arrays of this room."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

#: Numbers, one dimension.
Array: TypeAlias = NDArray[np.float64]
#: True or false, one dimension.
Mask: TypeAlias = NDArray[np.bool_]
