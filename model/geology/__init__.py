"""From logs to the surfaces of layers and how sure they are."""
