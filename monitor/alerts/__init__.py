"""Which alerts there are, when each begins and ends, and who is called: facts and rules, no words. Pure."""
