"""What a design file may hold: the table of keys, values in everyday notation, frozen sections, checks, template."""
