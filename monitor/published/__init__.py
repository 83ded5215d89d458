"""What the monitor knows, for other programs: typed states with one JSON Schema, and what carries them out."""
