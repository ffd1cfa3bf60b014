"""Studies that solve a site more than once."""
