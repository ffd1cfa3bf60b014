"""Settlement beyond the dig, from the heads of the stages."""
