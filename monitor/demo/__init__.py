"""One command that plays an invented bakery day with everything running, each part a process of its own."""
