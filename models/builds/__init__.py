"""Many builds of one design at once: tolerance, drift, and values to choose."""
