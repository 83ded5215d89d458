"""How a message reaches a person: the outbox, its carriers, and the addresses they may send to. Edge."""
