"""From designs and readings to the figures of the designer's bench."""
