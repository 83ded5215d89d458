"""One running batch: its curve and forecast, and what a baker notes about it."""
