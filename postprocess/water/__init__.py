"""Flows to wells and into the dig, dryness, reach of the drawdown."""
