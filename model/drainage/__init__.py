"""Ways to lower the water, one file a method."""
