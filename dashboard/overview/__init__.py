"""All shops of a central store, worst first: from InfluxDB alone, one row a shop."""
