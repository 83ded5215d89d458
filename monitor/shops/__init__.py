"""Several shops together: what each sends to a central store, and the copies made from there."""
