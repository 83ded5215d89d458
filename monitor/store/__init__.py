"""What outlives a restart: one SQLite file with readings, batches, outlooks, alerts, plans and the outbox. Edge."""
