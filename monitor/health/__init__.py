"""The watch over the monitor itself: heartbeat, metrics, and what its keeper must be told. Edge."""
