"""Rasters, layers and their styles for GIS."""
