"""What a scheme takes to run: pumps, power, crew, cost, flooding."""
