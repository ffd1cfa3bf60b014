"""What happens when pumps stop."""
