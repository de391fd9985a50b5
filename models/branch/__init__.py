"""The antenna branch's modes and losses."""
