"""Begin a batch: what it is like, what it stands in, which node looks at it."""
