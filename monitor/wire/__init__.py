"""What a node says: readings and the frames that carry them. Pure."""
