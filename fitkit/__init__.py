"""fitkit: from photos of the wearer to paper templates that fit.

The rooms of the package follow the maker's line of work, left to right:
``capture`` -> ``body`` -> ``patch`` -> ``flatten`` -> ``template`` -> ``export``.
``geometry``, ``materials`` and ``drawing`` are the ground floor they stand on;
``job`` keeps the results and ``workflow`` is where the job meets the steps.
"""

from __future__ import annotations

__all__ = ["__version__"]

__version__ = "0.1.0"
