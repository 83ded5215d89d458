"""The watch over the monitor itself: pulse, heartbeat, metrics, and what its keeper must be told. Edge."""
