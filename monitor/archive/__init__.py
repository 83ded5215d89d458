"""What leaves the store and comes back into it: backups, batches as files. Edge."""
