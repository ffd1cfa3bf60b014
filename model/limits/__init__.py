"""What each drainage point can really do: the limits of points and of what they share."""
