"""What the demo runs: an invented bakery day, one bread from preferment to oven, and a broker on this machine."""
