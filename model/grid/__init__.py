"""Plan grid, model layers, the ground in its cells, the dig, walls and water on them."""
