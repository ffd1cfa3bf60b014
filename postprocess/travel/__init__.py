"""Where water comes from and how long it takes."""
