"""What stands round a node on the bench: air, vessels, sensors and their chips, and what goes wrong with them."""
