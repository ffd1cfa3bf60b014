"""Measured levels and flows, and values given in time."""
