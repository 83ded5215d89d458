"""One file a screen: what it shows and what can be done on it. No SQL, no maths."""
