"""Where things are kept and sent: the store and the notifier. Edge."""
