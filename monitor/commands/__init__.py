"""What each command does; the largest have a room of their own. Edge."""
