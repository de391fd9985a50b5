"""Files: written whole or not at all, left-overs, input, and plain text."""
