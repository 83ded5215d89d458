"""Who looks, what they may do, which shop they see, and how they want to read it."""
