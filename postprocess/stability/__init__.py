"""Uplift, heave, seepage and bursting of the floor, also with pumps off."""
