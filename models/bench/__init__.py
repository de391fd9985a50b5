"""The designer's bench: fits of readings, values to choose, builds with their spread, bands to read."""
