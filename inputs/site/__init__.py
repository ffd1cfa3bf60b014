"""The site file: its sections, their rules, and changes to single values."""
