"""Faults, units, quantities and tables: what every reader uses."""
