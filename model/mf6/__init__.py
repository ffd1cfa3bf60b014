"""MODFLOW 6: its files written, the solver found, run and proven."""
