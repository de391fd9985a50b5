"""Letters of wild texts: all that UTF-8 can write, told by their category.

Hypothesis has the same by default, but asks the codec about each of a million: two seconds in a fresh clone.
"""

from __future__ import annotations

from hypothesis import strategies as st

LETTERS = st.characters(exclude_categories=["Cs"])
