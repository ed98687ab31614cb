"""Cones that do not exist yet: forecasts, the next print, printable geometry."""
