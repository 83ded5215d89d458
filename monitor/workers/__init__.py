"""Work beside the collector, on threads and connections of its own; one collector for each directory. Edge."""
