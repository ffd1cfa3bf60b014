"""Stages and phases solved, and a finished run put in its folder."""
