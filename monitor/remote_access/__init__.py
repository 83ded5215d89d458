"""What opens the monitor to other machines: the broker for nodes, the proxy for people, the keys of both."""
