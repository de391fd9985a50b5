"""Physics of the theremin: arrays in SI units in, arrays out; no files, clocks, threads or printing."""
