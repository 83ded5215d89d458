"""What is in the tub: formula, vessel, batch. Pure."""
