"""The audio process: shared memory, stream or silent clock, renderer, meters, recorder."""
