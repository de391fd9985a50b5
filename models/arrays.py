"""Names for the types of arrays, of any shape."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]
Complexes = NDArray[np.complex128]
SingleComplexes = NDArray[np.complex64]
