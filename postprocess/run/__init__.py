"""A run folder read: ledger, heads, flows, tables."""
