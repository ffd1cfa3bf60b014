"""Soils matched to measured levels and flows."""
