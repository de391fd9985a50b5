"""What was read on the bench: the unknowns, the fit, and what to read next."""
