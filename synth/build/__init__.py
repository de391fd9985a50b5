"""From a design to an instrument: assemblies, notices, workbench, and the cache of curves."""
