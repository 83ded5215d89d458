"""Where edge and core meet: the loop that every reading goes through, and all that runs around it. Edge."""
