"""The sensor nodes: how well each is, and when it was heard."""
