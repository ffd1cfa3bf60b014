"""How sure the answers are: the site varied within its bounds."""
