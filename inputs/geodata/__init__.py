"""Vector and raster files, coordinate systems, ground surface, neighbours."""
