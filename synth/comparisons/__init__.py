"""Beatfield measured beside plain ways to the same results; one comparison a module."""
