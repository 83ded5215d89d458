"""What the baker has set, read and checked. Edge."""
