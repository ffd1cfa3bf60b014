"""What happens to buildings, wells and waters near by."""
