"""Reports of a design: text, JSON, CSV and plots, all from the same figures."""
