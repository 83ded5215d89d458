"""The whole store, shipped continuously by Litestream to a place off this machine, and brought back from there."""
