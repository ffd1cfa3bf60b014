"""Boring logs: one reader a format, and the checks of what they say."""
