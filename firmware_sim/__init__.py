"""The node's firmware, and the bench that simulates dough, sensors and lines around it."""
