"""Schemes side by side, and one run against another."""
