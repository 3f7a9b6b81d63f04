"""Sensors on a line: what they print, their clocks, where they are plugged in, and whether they see every mark."""
