"""Finding the least pumping: what is looked at, responses, programme, search, result."""
